// Stand-in for the header of this name (see Arduino.h beside it): ESP8266WiFiGeneric.h, ESP8266WiFiSTA.h, ESP8266WiFiType.h,
// WiFiServer.h and WiFiClient.h of the core's library ESP8266WiFi, core 3.1.2.
#ifndef STANDIN_ESP8266WIFI_H
#define STANDIN_ESP8266WIFI_H

#include "Arduino.h"

typedef enum { WL_CONNECTED = 3 } wl_status_t;
typedef enum WiFiMode { WIFI_OFF = 0, WIFI_STA = 1, WIFI_AP = 2, WIFI_AP_STA = 3 } WiFiMode_t;
typedef enum WiFiSleepType { WIFI_NONE_SLEEP = 0, WIFI_LIGHT_SLEEP = 1, WIFI_MODEM_SLEEP = 2 } WiFiSleepType_t;

typedef enum WiFiPhyMode { WIFI_PHY_MODE_11B = 1, WIFI_PHY_MODE_11G = 2, WIFI_PHY_MODE_11N = 3 } WiFiPhyMode_t;

class ESP8266WiFiClass {
 public:
  wl_status_t begin(const char *ssid, const char *passphrase = nullptr, int32_t channel = 0, const uint8_t *bssid = nullptr,
                    bool connect = true);
  bool disconnect(bool wifioff = false);
  bool disconnect(bool wifioff, bool eraseCredentials);
  bool isConnected();
  bool setAutoReconnect(bool autoReconnect);
  uint8_t *macAddress(uint8_t *mac);
  int8_t RSSI();
  uint8_t *BSSID();
  uint8_t channel(void);
  bool setPhyMode(WiFiPhyMode_t mode);
  bool setSleepMode(WiFiSleepType_t type, uint8_t listenInterval = 0);
  static void persistent(bool persistent);
  bool mode(WiFiMode_t);
  bool forceSleepBegin(uint32_t sleepUs = 0);
};
extern ESP8266WiFiClass WiFi;

class WiFiClient : public Stream {
 public:
  WiFiClient();
  virtual ~WiFiClient();
  WiFiClient(const WiFiClient &);
  WiFiClient &operator=(const WiFiClient &);
  size_t write(uint8_t) override;
  size_t write(const uint8_t *buf, size_t size) override;
  int available() override;
  int read() override;
  virtual int read(uint8_t *buf, size_t size);
  int read(char *buf, size_t size);
  virtual uint8_t connected();
  int availableForWrite() override;
};

class WiFiServer {
 public:
  WiFiServer(uint16_t port);
  virtual ~WiFiServer() {}
  WiFiClient accept();
  bool hasClient();
  void begin();
  void begin(uint16_t port);
  void begin(uint16_t port, uint8_t backlog);
  void setNoDelay(bool nodelay);
};

#endif
