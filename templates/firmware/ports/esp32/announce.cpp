#include "announce.h"

#include "idf.h"
#include "tcp_server.h"

namespace tn {

namespace {

constexpr char kService[] = "_tanknode", kProtocol[] = "_tcp";
constexpr uint32_t kGoodbyeMs = 200;  // the responder looks for work every 100 ms (MDNS_TIMER_PERIOD_MS of the Arduino build)

}  // namespace

void Announcer::set(const Announcement &what) {
  idf::mdns_txt_item_t txt[] = {
      {"id", what.node}, {"release", what.release}, {"img", what.image16}, {"board", what.board}, {"phase", what.phase}};
  constexpr uint8_t kItems = sizeof txt / sizeof txt[0];
  if (added_) {
    idf::mdns_service_txt_set(kService, kProtocol, txt, kItems);
    return;
  }
  added_ = idf::mdns_init() == ESP_OK && idf::mdns_hostname_set(what.node) == ESP_OK &&
           idf::mdns_instance_name_set(what.node) == ESP_OK &&
           idf::mdns_service_add(nullptr, kService, kProtocol, kHttpPort, txt, kItems) == ESP_OK;
}

void Announcer::goodbye() {
  if (!added_) return;
  added_ = false;
  if (idf::mdns_service_remove_all() == ESP_OK) idf::vTaskDelay(kGoodbyeMs / portTICK_PERIOD_MS);
}

}  // namespace tn
