#include "structured.h"

namespace tn {

namespace {

bool is_lower(char c) { return c >= 'a' && c <= 'z'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_alpha(char c) { return is_lower(c) || (c >= 'A' && c <= 'Z'); }
bool is_key(char c) { return is_lower(c) || is_digit(c) || c == '_' || c == '-' || c == '.' || c == '*'; }
bool is_base64(char c) { return is_alpha(c) || is_digit(c) || c == '+' || c == '/' || c == '='; }
bool is_token(char c) {
  return is_alpha(c) || is_digit(c) || (c != '\0' && strchr("!#$%&'*+-.^_`|~:/", c) != nullptr);
}

char peek(const Field *f) { return f->left > 0 ? *f->at : '\0'; }

void skip(Field *f) {
  ++f->at;
  --f->left;
}

bool take(Field *f, char c) {
  if (f->left == 0 || *f->at != c) return false;
  skip(f);
  return true;
}

void blanks(Field *f, bool tabs) {
  while (f->left > 0 && (*f->at == ' ' || (tabs && *f->at == '\t'))) skip(f);
}

Slice between(const char *start, const Field *f) { return Slice{start, static_cast<size_t>(f->at - start)}; }

Slice run_of(Field *f, bool (*is)(char)) {
  const char *start = f->at;
  while (f->left > 0 && is(*f->at)) skip(f);
  return between(start, f);
}

bool take_key(Field *f, Slice *to) {
  if (!is_lower(peek(f)) && peek(f) != '*') return false;
  *to = run_of(f, is_key);
  return true;
}

bool take_string(Field *f, Slice *to) {
  const char *start = f->at;
  while (f->left > 0 && *f->at != '"') {
    if (*f->at < 0x20 || *f->at > 0x7E) return false;
    if (*f->at == '\\') {
      skip(f);
      if (peek(f) != '"' && peek(f) != '\\') return false;
    }
    skip(f);
  }
  *to = between(start, f);
  return take(f, '"');
}

bool take_number(Field *f, Slice *to) {
  const char *start = f->at;
  take(f, '-');
  const size_t whole = run_of(f, is_digit).n;
  size_t part = 0;
  const bool decimal = take(f, '.');
  if (decimal) part = run_of(f, is_digit).n;
  *to = between(start, f);
  return decimal ? whole >= 1 && whole <= 12 && part >= 1 && part <= 3 : whole >= 1 && whole <= 15;
}

bool take_bare(Field *f, FieldItem *to) {
  const char c = peek(f);
  if (take(f, '"')) {
    to->kind = FieldKind::kString;
    return take_string(f, &to->value);
  }
  if (take(f, ':')) {
    to->kind = FieldKind::kBytes;
    to->value = run_of(f, is_base64);
    return take(f, ':');
  }
  if (take(f, '?')) {
    to->kind = FieldKind::kBoolean;
    to->value = Slice{f->at, 1};
    return take(f, '0') || take(f, '1');
  }
  if (is_digit(c) || c == '-') {
    to->kind = FieldKind::kNumber;
    return take_number(f, &to->value);
  }
  if (!is_alpha(c) && c != '*') return false;
  to->kind = FieldKind::kToken;
  to->value = run_of(f, is_token);
  return true;
}

FieldItem true_item(Slice key) { return FieldItem{key, FieldKind::kTrue, {nullptr, 0}, {nullptr, 0}, {nullptr, 0}}; }

bool take_params(Field *f, Slice *to) {
  const char *start = f->at;
  FieldItem ignored;
  FieldNext next = FieldNext::kItem;
  while (next == FieldNext::kItem && peek(f) == ';') next = next_param(f, &ignored);
  *to = between(start, f);
  return next != FieldNext::kBad;
}

bool take_inner_list(Field *f, FieldItem *to) {
  const char *start = f->at;
  skip(f);  // the bracket
  for (;;) {
    blanks(f, false);
    if (take(f, ')')) break;
    FieldItem item = true_item(Slice{nullptr, 0});
    Slice params;
    if (!take_bare(f, &item) || !take_params(f, &params)) return false;
    if (peek(f) != ' ' && peek(f) != ')') return false;
  }
  to->kind = FieldKind::kInnerList;
  to->value = between(start, f);
  return true;
}

bool take_member(Field *f, FieldItem *to) {
  Slice key;
  if (!take_key(f, &key)) return false;
  *to = true_item(key);
  if (take(f, '=')) {
    const char *start = f->at;
    if (!(peek(f) == '(' ? take_inner_list(f, to) : take_bare(f, to))) return false;
    if (!take_params(f, &to->params)) return false;
    to->whole = between(start, f);
    return true;
  }
  if (!take_params(f, &to->params)) return false;
  to->whole = to->params;
  return true;
}

}  // namespace

FieldNext next_param(Field *params, FieldItem *to) {
  if (params->left == 0) return FieldNext::kEnd;
  Slice key;
  if (!take(params, ';')) return FieldNext::kBad;
  blanks(params, false);
  if (!take_key(params, &key)) return FieldNext::kBad;
  *to = true_item(key);
  if (!take(params, '=')) return FieldNext::kItem;
  return take_bare(params, to) ? FieldNext::kItem : FieldNext::kBad;
}

FieldNext next_member(Field *dictionary, FieldItem *to) {
  blanks(dictionary, false);
  if (dictionary->left == 0) return FieldNext::kEnd;
  if (!take_member(dictionary, to)) return FieldNext::kBad;
  blanks(dictionary, true);
  if (dictionary->left == 0) return FieldNext::kItem;
  if (!take(dictionary, ',')) return FieldNext::kBad;
  blanks(dictionary, true);
  return dictionary->left == 0 ? FieldNext::kBad : FieldNext::kItem;  // no comma at the end
}

FieldNext find_member(Slice dictionary, const char *key, FieldItem *to) {
  Field f = field_over(dictionary);
  const Slice wanted = slice(key);
  FieldNext found = FieldNext::kEnd;
  for (;;) {
    FieldItem item;
    const FieldNext next = next_member(&f, &item);
    if (next == FieldNext::kBad) return next;
    if (next == FieldNext::kEnd) return found;
    if (!same(item.key, wanted)) continue;
    *to = item;
    found = FieldNext::kItem;
  }
}

bool bare_bytes(Slice text, FieldItem *to) {
  Field f = field_over(text);
  *to = true_item(Slice{nullptr, 0});
  return text.n > 0 && take_bare(&f, to) && to->kind == FieldKind::kBytes && f.left == 0;
}

}  // namespace tn
