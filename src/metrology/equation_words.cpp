// SPDX-License-Identifier: Apache-2.0
#include "metrology/equation_words.h"

#include "base/errors.h"
#include "base/text.h"

#include <fmt/format.h>

#include <array>
#include <cctype>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Kind = EquationWord::Kind;

// What people type or paste for an operator, and what it stands for.
struct Spelling {
  std::string_view written;
  std::string_view meant;
};
constexpr std::array<Spelling, 8> spellings{{{"\u00d7", "*"},
                                             {"\u00b7", "*"},
                                             {"\u22c5", "*"},
                                             {"\u2212", "-"},
                                             {"\u00f7", "/"},
                                             {"\u03c0", "pi"},
                                             {"\u00b2", "^2"},
                                             {"\u00b3", "^3"}}};

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool starts_name(char c) {
  return std::isalpha(static_cast<unsigned char>(c)) != 0 || c == '_';
}
bool is_sign(char c) {
  return std::string_view("+-*/^(),").find(c) != std::string_view::npos;
}

class Reader {
 public:
  Reader(std::string_view text, std::string_view where) : text_(text), where_(where) {}

  std::vector<EquationWord> words() {
    skip_blanks();
    while (at_ < text_.size()) {
      read_word();
      skip_blanks();
    }
    put(Kind::end, "", column());
    return std::move(words_);
  }

 private:
  // In letters, not in bytes: a continuation byte of UTF-8 is none.
  std::size_t column() {
    for (; counted_ < at_; ++counted_)
      column_ += (static_cast<unsigned char>(text_[counted_]) & 0xc0U) == 0x80U ? 0U : 1U;
    return column_;
  }

  [[noreturn]] void refuse(std::size_t column, const std::string& wrong,
                           std::string_view right) const {
    throw base::BadInput(where_, fmt::format("column {} of the equation: {}", column, wrong),
                         right);
  }

  void put(Kind kind, std::string_view text, std::size_t column, double number = 0.0) {
    words_.push_back({.kind = kind, .text = std::string(text), .number = number, .column = column});
  }

  void skip_blanks() {
    while (at_ < text_.size() && std::string_view(" \t\r\n").find(text_[at_]) != text_.npos)
      ++at_;
  }

  void read_word() {
    const std::size_t from = column();
    const char c = text_[at_];
    if (is_digit(c) || (c == '.' && at_ + 1 < text_.size() && is_digit(text_[at_ + 1])))
      return read_number(from);
    if (starts_name(c)) return read_name(from);
    if (text_.substr(at_, 2) == "**") refuse(from, "'**' is no operator", "^ for a power");
    if (is_sign(c)) {
      put(Kind::sign, text_.substr(at_, 1), from);
      ++at_;
      return;
    }
    for (const Spelling& spelling : spellings) {
      if (text_.substr(at_, spelling.written.size()) != spelling.written) continue;
      at_ += spelling.written.size();
      return put_spelling(spelling.meant, from);
    }
    refuse_character(from);
  }

  void put_spelling(std::string_view meant, std::size_t from) {
    if (meant == "pi") return put(Kind::name, meant, from);
    put(Kind::sign, meant.substr(0, 1), from);
    if (meant.size() > 1) put(Kind::number, meant.substr(1), from, meant[1] - '0');
  }

  void read_number(std::size_t from) {
    const std::size_t start = at_;
    const auto digits = [this] {
      while (at_ < text_.size() && (is_digit(text_[at_]) || text_[at_] == '.'))
        ++at_;
    };
    digits();
    if (at_ < text_.size() && (text_[at_] == 'e' || text_[at_] == 'E')) {
      std::size_t after = at_ + 1;
      if (after < text_.size() && (text_[after] == '+' || text_[after] == '-')) ++after;
      if (after < text_.size() && is_digit(text_[after])) {
        at_ = after;
        digits();
      }
    }
    const std::string_view written = text_.substr(start, at_ - start);
    const std::optional<double> number = base::number_from_text(written);
    if (!number) refuse(from, fmt::format("'{}' is not a number", written), "digits, one point");
    put(Kind::number, written, from, *number);
  }

  void read_name(std::size_t from) {
    const std::size_t start = at_;
    while (at_ < text_.size() && (starts_name(text_[at_]) || is_digit(text_[at_])))
      ++at_;
    put(Kind::name, text_.substr(start, at_ - start), from);
  }

  [[noreturn]] void refuse_character(std::size_t from) const {
    const char c = text_[at_];
    if (c == '=') refuse(from, "'=' stands inside an equation", "what stands right of it alone");
    std::size_t length = 1;  // of the whole letter in UTF-8
    while (at_ + length < text_.size() &&
           (static_cast<unsigned char>(text_[at_ + length]) & 0xc0U) == 0x80U)
      ++length;
    const bool shown = std::isprint(static_cast<unsigned char>(c)) != 0 || length > 1;
    refuse(from,
           shown ? fmt::format("'{}' means nothing here", text_.substr(at_, length))
                 : fmt::format("a byte {:#04x} means nothing here", static_cast<unsigned char>(c)),
           "numbers, names, + - * / ^ and round brackets");
  }

  std::string_view text_;
  std::string_view where_;
  std::size_t at_ = 0;
  std::size_t counted_ = 0;  // bytes that column_ has counted
  std::size_t column_ = 1;
  std::vector<EquationWord> words_;
};

}  // namespace

std::vector<EquationWord> equation_words(std::string_view text, std::string_view where) {
  return Reader(text, where).words();
}

}  // namespace windwright::metrology
