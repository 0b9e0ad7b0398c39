// SPDX-License-Identifier: Apache-2.0
#include "metrology/equation.h"

#include "base/errors.h"
#include "base/text.h"
#include "metrology/equation_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cstddef>
#include <cstdint>
#include <map>
#include <numbers>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Kind = EquationWord::Kind;

constexpr int deepest = 200;                      // of brackets in each other
constexpr std::size_t most_steps = 100'000;       // of all equations together
constexpr double decimal = std::numbers::log10e;  // log10(x) = decimal * log(x)

struct Function {
  std::string_view name;
  Operation operation;
  std::size_t least_arguments = 1;
  std::size_t most_arguments = 1;
};
constexpr std::size_t any = 1000;
constexpr std::array<Function, 19> functions{{{"sqrt", Operation::square_root},
                                              {"exp", Operation::exponential},
                                              {"log", Operation::logarithm},
                                              {"ln", Operation::logarithm},
                                              {"log10", Operation::logarithm},
                                              {"sin", Operation::sine},
                                              {"cos", Operation::cosine},
                                              {"tan", Operation::tangent},
                                              {"asin", Operation::arcsine},
                                              {"acos", Operation::arccosine},
                                              {"atan", Operation::arctangent},
                                              {"sinh", Operation::hyperbolic_sine},
                                              {"cosh", Operation::hyperbolic_cosine},
                                              {"tanh", Operation::hyperbolic_tangent},
                                              {"abs", Operation::absolute},
                                              {"atan2", Operation::arctangent_of_two, 2, 2},
                                              {"min", Operation::least, 2, any},
                                              {"max", Operation::largest, 2, any},
                                              {"pi", Operation::constant, 0, 0}}};

const Function* function_of(std::string_view name) {
  const auto* found = std::ranges::find(functions, name, &Function::name);
  return found == functions.end() ? nullptr : &*found;
}

// One equation in reverse Polish order: names and numbers, then what is done with them. Flat, so
// that no length of an equation exhausts the stack.
struct Item {
  enum class What { number, name, function, operation };
  What what;
  std::string name;  // of a name or a function
  double number = 0.0;
  std::size_t arguments = 0;  // of a function
  Operation operation = Operation::constant;
  std::size_t column = 0;
};

[[noreturn]] void refuse(const Equation& equation, std::size_t column, const std::string& wrong,
                         std::string_view right) {
  throw base::BadInput(
      equation.where,
      fmt::format("column {} of the equation of {}: {}", column, equation.name, wrong), right);
}

class Parser {
 public:
  explicit Parser(const Equation& equation)
      : equation_(equation), words_(equation_words(equation.text, equation.where)) {}

  std::vector<Item> items() {
    sum(0);
    if (next().kind != Kind::end) refuse_rest();
    return std::move(items_);
  }

 private:
  const EquationWord& next() const { return words_[at_]; }
  bool takes(std::string_view sign) {
    if (next().kind != Kind::sign || next().text != sign) return false;
    ++at_;
    return true;
  }
  std::string seen() const {
    return next().kind == Kind::end ? "the end" : fmt::format("'{}'", next().text);
  }
  void put(Operation operation, std::size_t column) {
    items_.push_back(
        {.what = Item::What::operation, .name = {}, .operation = operation, .column = column});
  }

  [[noreturn]] void refuse_rest() const {
    const EquationWord& word = next();
    if (word.text == ")")
      refuse(equation_, word.column, "')' closes no bracket", "as many '(' as ')'");
    if (word.text == ",")
      refuse(equation_, word.column, "',' stands outside a function",
             "a point in decimal numbers; commas between a function's arguments");
    refuse(equation_, word.column, fmt::format("no operator before '{}'", word.text),
           fmt::format("* {}", word.text == "(" ? "(...)" : word.text));
  }

  void close(const std::string& which) {
    if (takes(")")) return;
    if (next().kind == Kind::number || next().kind == Kind::name || next().text == "(")
      refuse_rest();
    refuse(equation_, next().column, fmt::format("{} is not closed before {}", which, seen()),
           "')'");
  }

  void sum(int depth) {
    product(depth);
    for (;;) {
      const std::size_t column = next().column;
      const bool plus = takes("+");
      if (!plus && !takes("-")) return;
      product(depth);
      put(plus ? Operation::add : Operation::subtract, column);
    }
  }

  void product(int depth) {
    signed_power(depth);
    for (;;) {
      const std::size_t column = next().column;
      const bool times = takes("*");
      if (!times && !takes("/")) return;
      signed_power(depth);
      put(times ? Operation::multiply : Operation::divide, column);
    }
  }

  // A sign binds weaker than the power behind it: -2^2 is -(2^2).
  void signed_power(int depth) {
    if (depth > deepest)
      refuse(equation_, next().column, "brackets, signs or powers are nested too deeply",
             fmt::format("at most {} in each other", deepest));
    const std::size_t column = next().column;
    if (takes("-")) {
      signed_power(depth + 1);
      put(Operation::negative, column);
      return;
    }
    if (takes("+")) return signed_power(depth + 1);
    operand(depth);
    const std::size_t at_power = next().column;
    if (!takes("^")) return;
    signed_power(depth + 1);
    put(Operation::power, at_power);
  }

  void operand(int depth) {
    const EquationWord word = next();
    if (word.kind == Kind::number) {
      ++at_;
      items_.push_back(
          {.what = Item::What::number, .name = {}, .number = word.number, .column = word.column});
    } else if (word.kind == Kind::name) {
      ++at_;
      named(word, depth);
    } else if (takes("(")) {
      sum(depth + 1);
      close(fmt::format("the bracket opened at column {}", word.column));
    } else {
      refuse(equation_, word.column, fmt::format("a value is missing before {}", seen()),
             "a number, a name or '('");
    }
  }

  void named(const EquationWord& word, int depth) {
    const Function* function = function_of(word.text);
    const bool called = next().kind == Kind::sign && next().text == "(";
    if (function == nullptr || function->most_arguments == 0) {
      if (called && function == nullptr)
        refuse(equation_, word.column, fmt::format("'{}' is not a function", word.text),
               nearest_function(word.text));
      items_.push_back({.what = Item::What::name, .name = word.text, .column = word.column});
      return;
    }
    if (!called)
      refuse(equation_, word.column, fmt::format("the function '{}' has no argument", word.text),
             fmt::format("{}(...)", word.text));
    takes("(");
    std::size_t arguments = 0;
    do {
      sum(depth + 1);
      ++arguments;
    } while (takes(","));
    close(fmt::format("the bracket of '{}'", word.text));
    if (arguments < function->least_arguments || arguments > function->most_arguments)
      refuse(equation_, word.column, fmt::format("'{}' has {} arguments", word.text, arguments),
             fmt::format("{}{}", function->least_arguments,
                         function->most_arguments == any ? " or more" : ""));
    items_.push_back({.what = Item::What::function,
                      .name = word.text,
                      .arguments = arguments,
                      .column = word.column});
  }

  static std::string nearest_function(const std::string& name) {
    if (name == "pow") return "x^y";
    std::vector<std::string> names;
    for (const Function& one : functions) {
      if (base::edit_distance(name, one.name) <= 1 && one.most_arguments > 0)
        names.emplace_back(one.name);
    }
    if (!names.empty()) return base::either_of(names);
    for (const Function& one : functions) {
      if (one.most_arguments > 0) names.emplace_back(one.name);
    }
    return fmt::format("* before the bracket, or {}", base::either_of(names));
  }

  const Equation& equation_;
  std::vector<EquationWord> words_;
  std::size_t at_ = 0;
  std::vector<Item> items_;
};

// Puts the parsed equations together in the order in which they need each other.
class Linker {
 public:
  Linker(std::span<const Equation> equations, const EquationNames& names)
      : equations_(equations), names_(names), maker_(names.inputs.size()) {
    for (std::size_t i = 0; i < names.inputs.size(); ++i)
      places_[names.inputs[i]] = maker_.input(i);
    for (const NamedConstant& one : names.constants)
      places_[one.name] = maker_.constant(one.value);
    places_["pi"] = maker_.constant(std::numbers::pi);
    for (std::size_t i = 0; i < equations.size(); ++i) {
      if (places_.contains(equations[i].name) || !known_.try_emplace(equations[i].name, i).second)
        throw base::BadInput(equations[i].where,
                             fmt::format("the name '{}' is given twice", equations[i].name),
                             "a name of its own for each input, constant and equation");
      parsed_.push_back(Parser(equations[i]).items());
    }
    state_.resize(equations.size(), State::untouched);
  }

  Program program(std::size_t outputs) {
    std::vector<std::uint32_t> places;
    for (std::size_t i = 0; i < equations_.size(); ++i)
      resolve(i);
    for (std::size_t i = 0; i < outputs; ++i)
      places.push_back(places_.at(equations_[i].name));
    return maker_.finished(places);
  }

 private:
  enum class State { untouched, open, done };

  // Equations that others need first, without recursion: chains may be long.
  void resolve(std::size_t wanted) {
    std::vector<std::size_t> open{wanted};
    while (!open.empty()) {
      const std::size_t current = open.back();
      if (state_[current] == State::done) {
        open.pop_back();
        continue;
      }
      state_[current] = State::open;
      bool ready = true;
      for (const Item& item : parsed_[current]) {
        if (item.what != Item::What::name || places_.contains(item.name)) continue;
        const auto found = known_.find(item.name);
        if (found == known_.end()) refuse_unknown(current, item);
        if (state_[found->second] == State::open) refuse_circle(current, item);
        open.push_back(found->second);
        ready = false;
        break;
      }
      if (!ready) continue;
      places_[equations_[current].name] = made(current);
      state_[current] = State::done;
      open.pop_back();
    }
  }

  [[noreturn]] void refuse_unknown(std::size_t equation, const Item& item) const {
    std::vector<std::string> near;
    std::vector<std::string> all;
    const auto consider = [&](const std::string& name) {
      if (name == "pi") return;
      all.push_back(name);
      if (base::edit_distance(name, item.name) <= 2) near.push_back(name);
    };
    for (const std::string& name : names_.inputs)
      consider(name);
    for (const NamedConstant& one : names_.constants)
      consider(one.name);
    for (std::size_t i = 0; i < equations_.size(); ++i) {
      if (i != equation) consider(equations_[i].name);
    }
    const std::vector<std::string>& shown = near.empty() ? all : near;
    refuse(equations_[equation], item.column,
           fmt::format("'{}' is no input, constant or equation", item.name),
           shown.empty() || shown.size() > 20 ? fmt::format("[input.{}]", item.name)
                                              : base::either_of(shown));
  }

  [[noreturn]] void refuse_circle(std::size_t equation, const Item& item) const {
    refuse(equations_[equation], item.column,
           item.name == equations_[equation].name
               ? fmt::format("'{}' is said in terms of itself", item.name)
               : fmt::format("'{}' itself depends on {}", item.name, equations_[equation].name),
           "equations that lead back to inputs");
  }

  std::uint32_t made(std::size_t equation) {
    std::vector<std::uint32_t> stack;
    for (const Item& item : parsed_[equation]) {
      if (maker_.size() > most_steps)
        refuse(equations_[equation], item.column, "the equations have too many operations",
               fmt::format("at most {}", most_steps));
      apply(item, stack);
    }
    return stack.back();
  }

  void apply(const Item& item, std::vector<std::uint32_t>& stack) {
    if (item.what == Item::What::number) {
      stack.push_back(maker_.constant(item.number));
    } else if (item.what == Item::What::name) {
      stack.push_back(places_.at(item.name));
    } else if (item.what == Item::What::operation && item.operation == Operation::negative) {
      stack.back() = maker_.unary(Operation::negative, stack.back());
    } else if (item.what == Item::What::operation || item.arguments > 1) {
      const Operation operation =
          item.what == Item::What::operation ? item.operation : function_of(item.name)->operation;
      const std::size_t times = std::max<std::size_t>(item.arguments, 2) - 1;
      for (std::size_t k = 0; k < times; ++k) {
        const std::uint32_t right = stack.back();
        stack.pop_back();
        stack.back() = maker_.binary(operation, stack.back(), right);
      }
    } else {
      stack.back() = maker_.unary(function_of(item.name)->operation, stack.back());
      if (item.name == "log10")
        stack.back() = maker_.binary(Operation::multiply, stack.back(), maker_.constant(decimal));
    }
  }

  std::span<const Equation> equations_;
  const EquationNames& names_;
  ProgramMaker maker_;
  std::map<std::string, std::uint32_t> places_;
  std::map<std::string, std::size_t> known_;
  std::vector<std::vector<Item>> parsed_;
  std::vector<State> state_;
};

}  // namespace

bool is_equation_name(const std::string& name) {
  if (name.empty() || function_of(name) != nullptr) return false;
  const auto letter = [](char c) {
    return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_';
  };
  return std::ranges::all_of(name, letter) &&
         std::isdigit(static_cast<unsigned char>(name[0])) == 0;
}

Program compiled(std::span<const Equation> equations, std::size_t outputs,
                 const EquationNames& names) {
  return Linker(equations, names).program(outputs);
}

}  // namespace windwright::metrology
