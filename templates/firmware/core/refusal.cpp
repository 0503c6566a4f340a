#include "refusal.h"

namespace tn {

namespace {

struct Row {
  uint16_t status;
  const char *text;
  const char *title;
};

const Row kRows[] = {
    {200, "ok", "Done"},
    {400, "bad-request", "The request cannot be read"},
    {401, "no-signature", "A changing request must be signed"},
    {401, "bad-signature", "The signature does not verify"},
    {401, "nonce-used", "The nonce is not the one now handed out"},
    {403, "bad-ticket", "The ticket cannot be read"},
    {403, "unknown-key", "The ticket is signed with an unknown key"},
    {403, "bad-ticket-signature", "The signature of the ticket does not verify"},
    {403, "other-node", "The ticket is for another node"},
    {403, "other-class", "The ticket is for another class"},
    {403, "old-sequence", "The sequence is not above the floor"},
    {403, "bad-credentials", "The network credentials cannot be opened"},
    {404, "not-found", "No such path"},
    {405, "bad-method", "The path does not take this method"},
    {409, "on-trial", "An image is on trial"},
    {409, "not-on-trial", "Nothing is on trial that could be kept"},
    {409, "no-older-image", "There is no older image"},
    {409, "busy", "Another transfer is running"},
    {409, "no-fault", "No fault stays that could be cleared"},
    {411, "length-required", "Content-Length is needed"},
    {413, "too-big", "The image is larger than the slot"},
    {422, "wrong-size", "The size is not the one promised"},
    {422, "wrong-digest", "The digest is not the one promised"},
    {500, "flash-failed", "The flash did not take it"},
    {503, "no-memory", "No memory for it now"},
    {503, "crowded", "No free connection"},
};
static_assert(sizeof kRows / sizeof kRows[0] == kCodeCount, "one row per code");

const Row &row(Code code) { return kRows[static_cast<uint8_t>(code) < kCodeCount ? static_cast<uint8_t>(code) : 1]; }

}  // namespace

uint16_t status_of(Code code) { return row(code).status; }
const char *text_of(Code code) { return row(code).text; }
const char *title_of(Code code) { return row(code).title; }

}  // namespace tn
