// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in lwIP 2.1.2 of esp-idf 4.4.7, src/include/lwip/def.h.
#ifndef TN_STANDIN_LWIP_DEF_H
#define TN_STANDIN_LWIP_DEF_H

#include <stdint.h>

extern "C" {
uint16_t lwip_htons(uint16_t x);
}

#endif
