// Room sizes of the core. Each may be set smaller for a board with little RAM, by -D in its project; these are the defaults.
// What the interface promises to everybody (docs/node-interface.md section 2) is not among them.
#ifndef TN_LIMITS_H
#define TN_LIMITS_H

#include <stddef.h>

#ifndef TN_CONNECTIONS
#define TN_CONNECTIONS 4
#endif
#ifndef TN_ANSWER_ROOMS
#define TN_ANSWER_ROOMS 2
#endif
#ifndef TN_PIECE_BYTES
#define TN_PIECE_BYTES 1024
#endif
#ifndef TN_SHA256_BYTES
#define TN_SHA256_BYTES 256
#endif

namespace tn {

constexpr size_t kConnections = TN_CONNECTIONS;    // served at once; a port has one handle more, to say `crowded` on
constexpr size_t kAnswerRooms = TN_ANSWER_ROOMS;   // for long answers: state and metrics; a request waits for a free one
constexpr size_t kPieceBytes = TN_PIECE_BYTES;     // of a long answer that are made and sent at a time
constexpr size_t kSha256Bytes = TN_SHA256_BYTES;  // for the state of a digest in progress; the port's library must fit
constexpr size_t kSealedBytes = 128;  // that a port opens at a time
constexpr size_t kHmacBytes = 288;  // the same of an HMAC; on the stack alone

static_assert(kConnections >= 1 && kConnections <= 16, "connections");
static_assert(kAnswerRooms >= 1 && kAnswerRooms <= kConnections, "rooms for answers");

}  // namespace tn

#endif
