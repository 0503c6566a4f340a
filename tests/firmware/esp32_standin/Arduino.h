// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in Arduino core 2.0.x for ESP32, cores/esp32/Arduino.h and HardwareSerial.h, pins_arduino.h of the variants.
#ifndef TN_STANDIN_ARDUINO_H
#define TN_STANDIN_ARDUINO_H

// sdkconfig.h of the core's build for a chip; the ESP32's, where a test does not say.
#if !defined(CONFIG_IDF_TARGET_ESP32) && !defined(CONFIG_IDF_TARGET_ESP32S2) && !defined(CONFIG_IDF_TARGET_ESP32S3) && !defined(CONFIG_IDF_TARGET_ESP32C3)
#define CONFIG_IDF_TARGET_ESP32 1
#endif

#include <stddef.h>
#include <stdint.h>

class HardwareSerial {
 public:
  void begin(unsigned long baud, uint32_t config = 0, int8_t rx_pin = -1, int8_t tx_pin = -1, bool invert = false,
             unsigned long timeout_ms = 20000UL, uint8_t rxfifo_full_thrhd = 112);
  int available();
  int availableForWrite();
  int read();
  size_t write(uint8_t one);
  size_t write(const uint8_t *buffer, size_t size);
};
extern HardwareSerial Serial;

// variants/{esp32,esp32s2,esp32s3,esp32c3}/pins_arduino.h
#if defined(CONFIG_IDF_TARGET_ESP32S2) || defined(CONFIG_IDF_TARGET_ESP32S3)
static const uint8_t TX = 43;
static const uint8_t RX = 44;
#elif defined(CONFIG_IDF_TARGET_ESP32C3)
static const uint8_t TX = 21;
static const uint8_t RX = 20;
#else
static const uint8_t TX = 1;
static const uint8_t RX = 3;
#endif

void setup(void);
void loop(void);
size_t getArduinoLoopTaskStackSize(void);

#endif
