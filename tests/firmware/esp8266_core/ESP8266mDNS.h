// Stand-in for the header of this name (see Arduino.h beside it): LEAmDNS.h of the core's library ESP8266mDNS, core 3.1.2.
#ifndef STANDIN_ESP8266MDNS_H
#define STANDIN_ESP8266MDNS_H

#include "Arduino.h"

class MDNSResponder {
 public:
  typedef const void *hMDNSService;
  typedef void *hMDNSTxt;
  bool begin(const char *p_pcHostname);  // the core's has two more, with defaults
  bool end(void);
  bool isRunning(void);
  hMDNSService addService(const char *p_pcName, const char *p_pcService, const char *p_pcProtocol, uint16_t p_u16Port);
  hMDNSTxt addServiceTxt(const hMDNSService p_hService, const char *p_pcKey, const char *p_pcValue);
  bool removeServiceTxt(const hMDNSService p_hService, const hMDNSTxt p_hTxt);
  bool removeServiceTxt(const hMDNSService p_hService, const char *p_pcKey);
  bool update(void);
  bool announce(void);
};
extern MDNSResponder MDNS;

#endif
