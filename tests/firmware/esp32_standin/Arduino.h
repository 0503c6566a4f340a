// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in Arduino core 2.0.x for ESP32, cores/esp32/Arduino.h and HardwareSerial.h, variants/esp32/pins_arduino.h.
#ifndef TN_STANDIN_ARDUINO_H
#define TN_STANDIN_ARDUINO_H

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

static const uint8_t TX = 1;  // of the variant; here those of the ESP32
static const uint8_t RX = 3;

void setup(void);
void loop(void);
size_t getArduinoLoopTaskStackSize(void);

#endif
