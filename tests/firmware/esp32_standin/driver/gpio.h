// Stand-in for the header of this name: declares what the ESP32 port uses of it and nothing else. Signatures as in esp-idf 4.4.7, components/driver/include/driver/gpio.h, hal/include/hal/gpio_types.h.
#ifndef TN_STANDIN_DRIVER_GPIO_H
#define TN_STANDIN_DRIVER_GPIO_H

#include <stdint.h>
#include "../esp_err.h"

// soc/CHIP/include/soc/soc_caps.h
#if defined(CONFIG_IDF_TARGET_ESP32S2)
#define SOC_GPIO_VALID_GPIO_MASK (0x7FFFFFFFFFFFULL & ~0x3C00000ULL)
#define SOC_GPIO_VALID_OUTPUT_GPIO_MASK (SOC_GPIO_VALID_GPIO_MASK & ~(1ULL << 46))
#elif defined(CONFIG_IDF_TARGET_ESP32S3)
#define SOC_GPIO_VALID_GPIO_MASK (0x1FFFFFFFFFFFFULL & ~0x3C00000ULL)
#define SOC_GPIO_VALID_OUTPUT_GPIO_MASK (SOC_GPIO_VALID_GPIO_MASK)
#elif defined(CONFIG_IDF_TARGET_ESP32C3)
#define SOC_GPIO_VALID_GPIO_MASK ((1U << 22) - 1)
#define SOC_GPIO_VALID_OUTPUT_GPIO_MASK SOC_GPIO_VALID_GPIO_MASK
#else
#define SOC_GPIO_VALID_GPIO_MASK (0xFFFFFFFFFFULL & ~0xF1000000ULL)
#define SOC_GPIO_VALID_OUTPUT_GPIO_MASK (SOC_GPIO_VALID_GPIO_MASK & ~0xFC00000000ULL)
#endif

extern "C" {
typedef enum { GPIO_NUM_0 = 0, GPIO_NUM_MAX = 49 } gpio_num_t;
typedef enum { GPIO_MODE_DISABLE = 0, GPIO_MODE_INPUT = 1, GPIO_MODE_OUTPUT = 2 } gpio_mode_t;
typedef enum { GPIO_PULLUP_DISABLE = 0, GPIO_PULLUP_ENABLE } gpio_pullup_t;
typedef enum { GPIO_PULLDOWN_DISABLE = 0, GPIO_PULLDOWN_ENABLE } gpio_pulldown_t;
typedef enum { GPIO_INTR_DISABLE = 0 } gpio_int_type_t;
typedef struct {
  uint64_t pin_bit_mask;
  gpio_mode_t mode;
  gpio_pullup_t pull_up_en;
  gpio_pulldown_t pull_down_en;
  gpio_int_type_t intr_type;
} gpio_config_t;

esp_err_t gpio_config(const gpio_config_t *pGPIOConfig);
esp_err_t gpio_set_level(gpio_num_t gpio_num, uint32_t level);
int gpio_get_level(gpio_num_t gpio_num);
}

#endif
