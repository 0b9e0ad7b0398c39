// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <deque>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

/// One message's header and parameters: `MEASure:VOLTage? (@1,3:5)`.
struct ScpiCommand {
  std::vector<std::string> parameters;  // separated by commas; a channel list is one
  int suffix = 1;                       // the number in the header: SOURce2 has 2
};

/// Numbers of the standard's errors that are told here (SCPI-1999, volume 2, 21.8).
namespace scpi_error {
inline constexpr int syntax = -102;
inline constexpr int data_type = -104;
inline constexpr int parameter_not_allowed = -108;
inline constexpr int missing_parameter = -109;
inline constexpr int undefined_header = -113;
inline constexpr int suffix_out_of_range = -114;
inline constexpr int settings_conflict = -221;
inline constexpr int data_out_of_range = -222;
inline constexpr int illegal_parameter = -224;
inline constexpr int queue_overflow = -350;
}  // namespace scpi_error

/// An entry of the error queue: the standard's number and, behind a semicolon, what is wrong here.
struct ScpiError {
  int number;
  std::string text;
};

/// One controller's side of an instrument that speaks SCPI: messages end with a line feed, several
/// commands in one are separated by semicolons, headers may be long or short (MEASure or MEAS) and
/// in any case, answers of one message come in one line. Behind an error, a message's queries are
/// still answered and its common commands done, but no other command. Errors wait in a queue for
/// SYSTem:ERRor?. Of IEEE 488.2 *IDN?, *CLS, *RST, *ESE, *ESE?, *ESR?, *OPC, *OPC?, *SRE, *SRE?,
/// *STB?, *TST?, *WAI; of SCPI-99 SYSTem:ERRor[:NEXT]?, SYSTem:ERRor:COUNt? and SYSTem:VERSion?;
/// the rest is the instrument's. Sources: IEEE 488.2-1992, sections 7, 8 and 10; SCPI-1999, volume
/// 1 sections 5 and 6, volume 2 section 21.8 (error numbers).
class ScpiSession {
 public:
  /// @return  the answer of a query, nothing for a command
  using Handler = std::function<std::optional<std::string>(const ScpiCommand& command)>;

  /// @param identity  the four fields of *IDN?, without commas in them
  /// @param reset     what *RST does
  ScpiSession(std::vector<std::string> identity, std::function<void()> reset);

  /// @param pattern  MEASure:VOLTage[:DC]?, SOURce#:LEVel: capitals are the short form, brackets
  /// may
  ///                 be left out, # is a number; with ? a query
  void add(std::string_view pattern, Handler handler);

  /// One message without its line feed. @return the answer with one, or nothing
  std::string answer(std::string_view message);
  /// For TcpService: hangs up on a line that does not end.
  std::optional<std::size_t> converse(std::string_view received, std::string& answer);

 private:
  struct Node {
    std::string short_form;  // upper case
    std::string long_form;
    bool optional;
    bool numbered;
  };
  struct Entry {
    std::vector<Node> nodes;
    bool query;
    Handler handler;
  };

  std::optional<std::string> execute(std::string_view unit, std::string& path);
  std::optional<std::string> common(const std::string& header, const ScpiCommand& command);
  const Entry* find(const std::vector<std::string>& words, bool query, int& suffix) const;
  void complain(const ScpiError& error);

  std::vector<Entry> entries_;
  std::string identity_;
  std::function<void()> reset_;
  std::deque<ScpiError> errors_;
  unsigned events_ = 0x80;  // standard event status: power on
  unsigned event_enable_ = 0;
  unsigned request_enable_ = 0;
};

/// @throws ScpiError  the command has parameters
void require_no_parameter(const ScpiCommand& command);
/// @throws ScpiError  none, or more
const std::string& only_parameter(const ScpiCommand& command);
/// The numbers of a channel list, (@1,3:5), in its order. @throws ScpiError
std::vector<int> channel_list(std::string_view text, int highest);
/// A decimal number. @throws ScpiError
double scpi_number(std::string_view text);

}  // namespace windwright::devices
