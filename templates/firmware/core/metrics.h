// The metrics page: OpenMetrics 1.0 text. Families are whole and not interleaved, counters end in `_total`, the page ends in
// `# EOF`. Values are of the moment and carry no timestamp.
#ifndef TN_METRICS_H
#define TN_METRICS_H

#include "node_view.h"
#include "text.h"

namespace tn {

constexpr const char *kMetricsType = "application/openmetrics-text; version=1.0.0; charset=utf-8";

void put_metrics(Text *t, const NodeView &view);

}  // namespace tn

#endif
