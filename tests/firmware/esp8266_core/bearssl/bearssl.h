// The core has BearSSL's own headers under this name; here they are those of Debian's libbearssl-dev.
#include "/usr/include/bearssl.h"
