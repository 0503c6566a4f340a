// The node program on the ESP32 family: the core over this port, in the Arduino core's loop task.
#include "../../core/node.h"
#include "../../core/node_block_check.h"
#include "esp32_port.h"
#include "idf.h"
#include "pins.h"

namespace {

constexpr uint32_t kIdleMs = 5;  // between two turns with nothing to do; else one tick, which other tasks need
constexpr size_t kLoopStackBytes = 12 * 1024;  // the core's frames, and Mbed TLS under them

tn::NodeBlock block;  // a copy that the core may read as it likes
tn::Esp32Port esp32;
tn::Node node;

void copy_block() {
  const volatile uint8_t *from = reinterpret_cast<const volatile uint8_t *>(&tn_node_block);
  uint8_t *to = reinterpret_cast<uint8_t *>(&block);
  for (size_t i = 0; i < sizeof block; ++i) to[i] = from[i];
}

// Pump relays off with the other constructors, before the Arduino core and its tasks begin. Until then the pins are inputs, as the
// chip's reset leaves them; but after a crash or a watchdog's panic only the processors are reset (esp_restart_noos() of esp-idf 4.4.7,
// system_internal.c:139), and a relay that was on stays on until here. Relays of a damaged block are not known: they stay so.
__attribute__((constructor)) void relays_off() {
  copy_block();
  if (tn::check_node_block(block) != tn::BlockFault::kNone) return;
  for (size_t i = 0; i < block.tank_count; ++i) {
    const tn::TankBlock &tank = block.tanks[i];
    if (tn::has_pump(tank)) tn::drive_pin(tank.pump_pin, tank.pump_active_high == 0);
  }
}

}  // namespace

// The image on trial stays unconfirmed until `keep`.
extern "C" bool verifyRollbackLater() { return true; }

size_t getArduinoLoopTaskStackSize() { return kLoopStackBytes; }

void setup() {
  tn::start_esp32_port(&esp32, block);
  node.begin(&esp32.port, &block, &esp32.map.partition, esp32.map.area);
}

void loop() {
  esp32.radio.step(esp32.port.now_ms(esp32.port.ctx));
  const bool more = node.step();
  tn::idf::vTaskDelay(more ? 1 : kIdleMs / portTICK_PERIOD_MS);
}
