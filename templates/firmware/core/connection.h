// One connection of a node: where it stands, the request it brought, the answer it gets.
#ifndef TN_CONNECTION_H
#define TN_CONNECTION_H

#include "http.h"
#include "limits.h"
#include "signature.h"

namespace tn {

constexpr uint64_t kSilenceMs = 10000;       // without a byte: over
constexpr uint64_t kHeadMs = 30000;          // for the whole head: a byte now and then does not hold a connection
constexpr uint64_t kBodyMs = 10000;          // for a whole body, and beyond that no slower than this, but for the node's own work on its
constexpr uint64_t kSlowestBytesPerMs = 10;  // flash: pumps are off meanwhile (fleet/limits.py counts on both: BODY_GRACE_S, ...)
                                             // An answer is sent at the same pace, or not to its end: see paced_ms.
constexpr uint64_t kRoomMs = 60000;          // of waiting for a room for a long answer
constexpr uint64_t kDrainMs = 2000;          // what still comes after a refusal is thrown away for this long, see kDraining
constexpr uint64_t kCrowdedMs = 100;         // the same after `crowded`: the next one waits outside meanwhile
// With all connections taken and another at the door, the one makes room that has not come on for longest, of those that nobody
// has signed: heads that are not whole after this (an honest one comes in one go), answers that were not taken on for this long.
constexpr uint64_t kHeadAloneMs = 30;
constexpr uint64_t kStalledMs = 100;
constexpr uint64_t kRoomStalledMs = 1000;    // a room for long answers is taken from its reader after this, for one that waits
constexpr size_t kAnswerHeadBytes = 1024;    // head with signature; the body of a short answer is written behind this
constexpr uint8_t kNoAnswerRoom = 0xFF;

// How long so many bytes may be on their way, at most.
constexpr uint64_t paced_ms(uint64_t bytes) { return kBodyMs + bytes / kSlowestBytesPerMs; }

enum class At : uint8_t {
  kFree,       // no socket
  kHead,       // reading the head
  kWaiting,    // head read, the answer waits for a room for long answers
  kGoAhead,    // sending `100 Continue`
  kBody,       // taking the image, or new network credentials
  kChecking,   // the image is read back, in steps
  kAnswering,  // sending the answer
  kDraining    // answer sent, body not all read: closing at once would make TCP take the answer back
};

constexpr int kNoHandle = -1;

struct Connection {
  At at;
  int handle;              // of the port
  bool verified;           // the node's key has signed this request: it is worked on to its end, whoever else knocks
  bool body_unread;        // something of the body was not read: drain before closing
  bool takes_network;      // the body is new network credentials, not an image
  bool restarts;           // once the answer is out, the node restarts
  uint8_t answer_room;     // of a long answer: index, else kNoAnswerRoom
  bool in_piece;           // the piece in that room is being sent, else what lies in reader.room
  uint64_t begun_ms;       // of this part: head, answer, drain
  uint64_t last_byte_ms;
  uint32_t body_left;      // of the body
  uint64_t ends_ms;        // by when all of it must have come; of an answer: have gone
  size_t answer_at;        // where begins what is being sent: an answer, the head of a long one, or a piece of it
  size_t answer_n;
  size_t sent;
  HttpReader reader;
  HttpHead head;
  AnswerWish wish;
  char method[kMethodChars + 1];  // copies, for signing the answer when the room is used again
  char path[kPathChars + 1];
};

}  // namespace tn

#endif
