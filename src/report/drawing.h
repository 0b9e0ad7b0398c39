// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

/// In pixels of 1/96 inch, from the upper left corner.
struct Position {
  double x;
  double y;
};

struct Stroke {
  std::string colour;
  double width = 1.0;
  std::string dash = {};  // SVG dash array; empty is solid
  double opacity = 1.0;
};

enum class Anchor { start, middle, end };

struct Lettering {
  double size = 12.0;
  std::string colour = "#33393f";
  Anchor anchor = Anchor::start;
  bool bold = false;
};

/// Shapes that stay apart in grey and at small size; every second one is open.
enum class Shape {
  disc,
  square,
  triangle,
  diamond,
  ring,
  open_square,
  open_triangle,
  open_diamond
};

/// A picture as SVG text, to stand inside HTML: presentation attributes only, coordinates to 0.01
/// pixel (same data, same bytes), no style sheet, no reference to anything outside.
class Drawing {
 public:
  /// @param description  what a person who cannot see the picture is told
  Drawing(double width, double height, std::string_view description);

  void line(Position from, Position to, const Stroke& stroke);
  void polyline(std::span<const Position> points, const Stroke& stroke);
  /// Path data as SVG writes it, filled; from svg_path().
  void area(std::string_view path, std::string_view fill, double opacity = 1.0);
  void rectangle(Position corner, double width, double height, std::string_view fill);
  /// `at` is the middle of the letters' height.
  void text(Position at, std::string_view text, const Lettering& lettering = {});
  /// Turned a quarter, reading upwards.
  void upright_text(Position at, std::string_view text, const Lettering& lettering = {});
  void marker(Shape shape, Position at, std::string_view colour, double size = 7.0);

  std::string svg() const;
  /// The same as a file of its own, on white.
  std::string document() const;

 private:
  double width_;
  double height_;
  std::string description_;
  std::string body_;
};

/// A coordinate to 0.01 pixel in the fewest letters.
std::string coordinate(double value);

/// An axis with round ticks, linear or in decades.
class Axis {
 public:
  /// Widens [low, high] to round ticks, about so many; `from` and `to` are the pixels of its ends.
  Axis(double low, double high, int about, double from, double to);
  /// The same, but keeps the ends as they are: ticks lie inside.
  static Axis exact(double low, double high, int about, double from, double to);
  /// Even in the logarithm, with ticks at the powers of ten inside, or also at twice and five times
  /// these where there is one power at most. Values of 0 and below lie at the lower end.
  /// @param low, high  0 < low < high
  static Axis decades(double low, double high, double from, double to);

  double at(double value) const;
  double low() const { return low_; }
  double high() const { return high_; }
  double from() const { return from_; }
  double to() const { return to_; }
  const std::vector<double>& ticks() const { return ticks_; }
  /// A tick's text: all ticks of one linear axis have the same decimals.
  std::string tick_text(double tick) const;

 private:
  Axis() = default;
  double low_ = 0.0;
  double high_ = 1.0;
  double from_ = 0.0;
  double to_ = 1.0;
  double step_ = 1.0;
  bool in_decades_ = false;
  std::vector<double> ticks_;
};

/// The parts of a line through `points` that lie inside the box, each from where it enters to where
/// it leaves (Liang and Barsky, ACM Trans. Graphics 3 (1984) 1-22).
std::vector<std::vector<Position>> inside(std::span<const Position> points, Position low,
                                          Position high);

}  // namespace windwright::report
