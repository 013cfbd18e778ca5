#pragma once

#include "dsp/finding.hpp"
#include "src/report/photo.hpp"
#include "src/result.hpp"

#include <array>
#include <functional>
#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

using cairo_t = struct _cairo;  // Cairo's own names. NOLINT(bugprone-reserved-identifier,readability-identifier-naming)

/// What every picture of a result is drawn with: one paper, one ink, one way of setting text.
namespace idlehark {

struct Colour {
    double r, g, b;
};
inline constexpr Colour kPaper{0.985, 0.975, 0.955};
inline constexpr Colour kPanel{1.0, 1.0, 1.0};
inline constexpr Colour kInk{0.11, 0.14, 0.18};
inline constexpr Colour kFaintInk{0.42, 0.45, 0.48};
inline constexpr Colour kGrid{0.86, 0.85, 0.83};
inline constexpr Colour kBand{0.93, 0.94, 0.90};
inline constexpr Colour kTrace{0.16, 0.34, 0.46};

// All lengths in pixels of a page 1600 wide.
inline constexpr double kWidth = 1600;
inline constexpr double kMargin = 44;
inline constexpr double kLine = 30;  // of the footer
inline constexpr double kTitleSize = 38;
inline constexpr double kTextSize = 23;
inline constexpr double kSmallSize = 19;

enum class Align { left, middle, right };

/// A verdict is told by shape, not by colour alone.
[[nodiscard]] constexpr Colour colour_of(Finding f) noexcept {
    switch (f) {
        case Finding::fault:
            return {0.74, 0.12, 0.10};
        case Finding::shadowed:
            return {0.76, 0.46, 0.02};
        case Finding::clear:
            return {0.10, 0.44, 0.34};
        case Finding::open:
            break;
    }
    return {0.40, 0.40, 0.44};
}

class Pen {
   public:
    explicit Pen(cairo_t* c) : c_(c) {}

    void colour(Colour k, double alpha = 1.0) const;
    void box(double x, double y, double w, double h, Colour k, double alpha = 1.0) const;
    void line(double x0, double y0, double x1, double y1, Colour k, double width) const;
    [[nodiscard]] double width_of(std::string_view text, double size, bool bold = false) const;
    /// y is the baseline.
    void text(double x, double y, std::string_view words, double size, Colour k, Align align = Align::left,
              bool bold = false) const;
    /// Shortens with an ellipsis to fit.
    [[nodiscard]] std::string fitted(std::string_view words, double width, double size, bool bold = false) const;
    /// Wraps at words to the page's width in small text, and adds to `lines`.
    void wrap(std::string_view words, std::vector<std::string>& lines) const;
    void sign(double x, double y, double r, Finding shape, Colour k) const;
    /// For pages in SVG: the photo's own bytes go into them.
    void photo(const Photo& photo, double x, double y, double w, double h) const;
    void polygon(std::initializer_list<std::array<double, 2>> points) const;
    [[nodiscard]] cairo_t* raw() const { return c_; }

   private:
    void font(double size, bool bold) const;
    cairo_t* c_;
};

/// A linear axis with round ticks.
struct Axis {
    double low, high;  // values
    double from_px, to_px;

    [[nodiscard]] double at(double v) const { return from_px + (v - low) / (high - low) * (to_px - from_px); }
    [[nodiscard]] std::vector<double> ticks(int about) const;
};

/// Can a picture be written under that name? To be asked before the work, not after it.
[[nodiscard]] Result<Done> check_picture_name(const std::string& path);

/// Draws a page and writes it.
/// Output   PNG kWidth pixels wide, or SVG; chosen by the name's ending. Twice the same drawing, twice the same bytes.
/// `height` is asked with a pen that can only measure. Errors: another ending; a file that cannot be written.
Result<Done> write_page(const std::string& path, const std::function<double(const Pen&)>& height,
                        const std::function<void(const Pen&, double height)>& draw);

/// The same page as the text of one SVG element to stand inside an HTML page among others: scales to its place, names
/// nothing outside itself, and its own names begin with `prefix`. `label` says in words what it shows.
[[nodiscard]] std::string inline_page(std::string_view prefix, std::string_view label,
                                      const std::function<double(const Pen&)>& height,
                                      const std::function<void(const Pen&, double height)>& draw);

/// Text for HTML: & < > " ' as entities; what is not UTF-8 or a control character becomes "?".
[[nodiscard]] std::string html_text(std::string_view text);

}  // namespace idlehark
