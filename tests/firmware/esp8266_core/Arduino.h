// Stand-in for the header of this name of the Arduino core for the ESP8266, for the compiler's eyes alone: exactly the functions,
// macros and constants that templates/firmware/ports/esp8266/core_names.h names, with the signatures and types that the core has
// (3.1.2: Arduino.h, core_esp8266_features.h, esp8266_peri.h, Esp.h, Stream.h, HardwareSerial.h). Nothing here does anything.
#ifndef STANDIN_ARDUINO_H
#define STANDIN_ARDUINO_H

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#define HIGH 0x1
#define LOW 0x0
#define INPUT 0x00
#define INPUT_PULLUP 0x02
#define OUTPUT 0x01

#define ESP8266_REG(addr) *((volatile uint32_t *)(0x60000000 + (addr)))
#define GPOS ESP8266_REG(0x304)
#define GPOC ESP8266_REG(0x308)
#define GPI ESP8266_REG(0x318)
#define GP16O ESP8266_REG(0x768)

extern "C" {
void pinMode(uint8_t pin, uint8_t mode);
void digitalWrite(uint8_t pin, uint8_t val);
int digitalRead(uint8_t pin);
void delay(unsigned long);
void delayMicroseconds(unsigned int us);
uint64_t micros64(void);
}
void setup(void);
void loop(void);

#define RF_PRE_INIT() void __run_user_rf_pre_init()

struct rst_info;

class EspClass {
 public:
  static void wdtFeed();
  static void restart();
  static uint32_t getFreeHeap();
  static uint32_t getMaxFreeBlockSize();
  static uint32_t getFlashChipRealSize();
  static bool flashEraseSector(uint32_t sector);
  static bool flashWrite(uint32_t address, const uint32_t *data, size_t size);
  static bool flashWrite(uint32_t address, const uint8_t *data, size_t size);
  static bool flashRead(uint32_t address, uint32_t *data, size_t size);
  static bool flashRead(uint32_t address, uint8_t *data, size_t size);
  static struct rst_info *getResetInfoPtr();
  static uint8_t *random(uint8_t *resultArray, const size_t outputSizeBytes);
  static uint32_t random();
};
extern EspClass ESP;

class Print {
 public:
  virtual ~Print() {}
  virtual size_t write(uint8_t) = 0;
  virtual size_t write(const uint8_t *buffer, size_t size);
  size_t write(const char *buffer, size_t size);
  virtual int availableForWrite();
};

class Stream : public Print {
 public:
  virtual int available() = 0;
  virtual int read() = 0;
  void setTimeout(unsigned long timeout);
};

class HardwareSerial : public Stream {
 public:
  void begin(unsigned long baud);
  int available(void) override;
  int read(void) override;
  int availableForWrite(void) override;
  size_t write(uint8_t c) override;
  size_t write(const uint8_t *buffer, size_t size) override;
  using Print::write;
};
extern HardwareSerial Serial;

#endif
