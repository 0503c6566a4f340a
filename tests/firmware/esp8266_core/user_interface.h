// Stand-in for the header of this name of the ESP8266 NonOS SDK that the core brings (see Arduino.h beside it): reset reasons, country.
#ifndef STANDIN_USER_INTERFACE_H
#define STANDIN_USER_INTERFACE_H

#include <stdint.h>

typedef enum { WIFI_COUNTRY_POLICY_AUTO, WIFI_COUNTRY_POLICY_MANUAL } WIFI_COUNTRY_POLICY;
typedef struct {
  char cc[3];
  uint8_t schan;
  uint8_t nchan;
  uint8_t policy;
} wifi_country_t;
extern "C" bool wifi_set_country(wifi_country_t *country);

enum rst_reason {
  REASON_DEFAULT_RST = 0,
  REASON_WDT_RST = 1,
  REASON_EXCEPTION_RST = 2,
  REASON_SOFT_WDT_RST = 3,
  REASON_SOFT_RESTART = 4,
  REASON_DEEP_SLEEP_AWAKE = 5,
  REASON_EXT_SYS_RST = 6
};
struct rst_info {
  uint32_t reason;
  uint32_t exccause;
  uint32_t epc1;
  uint32_t epc2;
  uint32_t epc3;
  uint32_t excvaddr;
  uint32_t depc;
};

#endif
