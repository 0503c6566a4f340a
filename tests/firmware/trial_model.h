// What the trial of an image must come to, said without flash, records or digests: a model of docs/node-interface.md section 7 that the
// real slot logic is held to after every event.
#ifndef TN_TEST_TRIAL_MODEL_H
#define TN_TEST_TRIAL_MODEL_H

#include "core/slots.h"

// Images are numbers, which are their sequence numbers too; kNoImage: none.
constexpr int kNoImage = 0;

struct TrialModel {
  bool one_start = false;  // the boot loader gives an image on trial one start (ESP32 family)
  bool watched = false;    // and does so with this one
  int running = 1, older = kNoImage, last = kNoImage, floor = 1, newest = 1;
  tn::Phase phase = tn::Phase::kKept;
  tn::Reason reason = tn::Reason::kNone;
  int unhealthy = 0, starts = 0;  // on trial
  int brown_outs = 0, of_trial = 0;  // since the first flash, and in the present trial

  bool trial() const { return phase == tn::Phase::kOnTrial; }

  // An image that was put back may come again; it is sent again here until it is kept.
  int next_sent() const { return last != kNoImage && last != running ? last : newest + 1; }

  void go_back(tn::Reason why) {
    last = running;
    running = older;
    older = kNoImage;  // what was put back is not kept as an older image
    phase = tn::Phase::kPutBack;
    reason = why;
    unhealthy = starts = of_trial = 0;
  }

  void start() {
    const bool enough = watched ? starts > 0 : unhealthy >= tn::kUnhealthyStarts || starts >= tn::kTrialStarts;
    if (trial() && (enough || of_trial > tn::kBrownOutTries))
      go_back(of_trial > tn::kBrownOutTries ? tn::Reason::kBrownOut : tn::Reason::kNoHealthyBoot);
    if (!trial()) return;
    ++unhealthy;
    ++starts;
  }

  // A start after a brown-out: the start that it ended counts for nothing, as if this one were it, whether or not a boot loader
  // watches; but there are only so many, and only so many starts in all.
  void brown_out() {
    ++brown_outs;
    if (!trial()) return;
    ++of_trial;
    if (of_trial > tn::kBrownOutTries || starts >= tn::kTrialStarts) return go_back(tn::Reason::kBrownOut);
    if (unhealthy == 0) unhealthy = 1;
    ++starts;
  }

  // Each of the next four says whether the node does it.
  bool send() {
    if (trial()) return false;
    const int sent = next_sent();
    newest = sent > newest ? sent : newest;
    older = running;
    running = sent;
    watched = one_start;
    phase = tn::Phase::kOnTrial;
    unhealthy = starts = of_trial = 0;
    return true;
  }

  void healthy() { unhealthy = 0; }

  bool keep() {
    if (!trial()) return false;
    phase = tn::Phase::kKept;
    floor = running > floor ? running : floor;
    unhealthy = starts = 0;
    return true;
  }

  bool put_back(tn::Reason why) {
    if (older == kNoImage) return false;
    go_back(why);
    return true;
  }
};

#endif
