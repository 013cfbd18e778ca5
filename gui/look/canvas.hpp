#pragma once

#include "gui/look/colour.hpp"
#include "gui/look/finding.hpp"
#include "gui/look/fonts.hpp"
#include "gui/look/geometry.hpp"
#include "gui/look/sizes.hpp"

#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <SFML/Graphics/RenderTarget.hpp>
#include <SFML/Graphics/VertexArray.hpp>

namespace idlehark::gui {

enum class Align { left, middle, right };

struct TextStyle {
    double size = Sizes::kText;  ///< at 100 %
    bool bold = false;
    Rgb colour = palette::kInk;
    Align align = Align::left;
};

/// Draws shapes with soft edges and text onto a window or texture, few calls to the graphics library: all shapes since
/// the last flush() go out as one array of triangles, all text of one size as another, above the shapes.
/// Lengths are pixels; only text sizes and `px` know the scale. Text is UTF-8; what is not is shown as "?".
/// Threads  the one that owns the target.
class Canvas {
   public:
    Canvas(sf::RenderTarget& target, const Fonts& fonts, double scale);
    ~Canvas();
    Canvas(const Canvas&) = delete;
    Canvas& operator=(const Canvas&) = delete;

    [[nodiscard]] double px(double at_100) const noexcept { return sizes_.px(at_100); }
    [[nodiscard]] const Sizes& sizes() const noexcept { return sizes_; }

    void box(const Box& b, Rgb c, double alpha = 1.0);
    void frame(const Box& b, double width, Rgb c);  ///< inside the box
    void round_box(const Box& b, double radius, Rgb c, double alpha = 1.0);
    void round_frame(const Box& b, double radius, double width, Rgb c);  ///< centred on the edge
    void polygon(std::span<const Point> convex, Rgb c, double alpha = 1.0);
    void line(Point a, Point b, double width, Rgb c, double alpha = 1.0);
    void polyline(std::span<const Point> points, double width, Rgb c, bool closed = false, double alpha = 1.0);
    void dashes(Point a, Point b, double width, double dash, Rgb c);
    void disc(Point middle, double radius, Rgb c, double alpha = 1.0);
    void ring(Point middle, double radius, double width, Rgb c);
    /// A strip between a lower and an upper edge that share their x.
    void strip(std::span<const double> x, std::span<const double> low, std::span<const double> high, Rgb c);
    /// The shape of a finding, about 2 radii wide.
    void sign(Finding f, Point middle, double radius);

    /// `at` is the left, middle or right end of the base line.
    void text(Point at, std::string_view words, const TextStyle& style);
    /// Centred in height (by capitals) on at.y.
    void text_middle(Point at, std::string_view words, const TextStyle& style);
    [[nodiscard]] double width_of(std::string_view words, double size, bool bold = false) const;
    [[nodiscard]] double cap_height(double size) const noexcept { return 0.73 * sizes_.text_px(size); }
    /// Shortened with an ellipsis to fit.
    [[nodiscard]] std::string fitted(std::string_view words, double width, double size, bool bold = false) const;
    /// Broken at spaces into lines that fit; at most `most` lines, the last one shortened.
    [[nodiscard]] std::vector<std::string> wrapped(std::string_view words, double width, double size, bool bold,
                                                   std::size_t most) const;

    /// A texture's part, stretched to the box; below everything drawn after it.
    void picture(const sf::Texture& texture, const Box& part_px, const Box& on);

    /// From now on nothing is drawn outside of it.
    void clip_to(const Box& b) { clip_ = b; }
    void flush();

   private:
    /// While it lives, drawing is cut to the clip. Only then: a font that has to move to a larger texture copies its
    /// letters there by drawing, and those cut off would be gone for good.
    class Cut;
    [[nodiscard]] const sf::Font& font(bool bold) const noexcept { return bold ? fonts_.bold : fonts_.regular; }
    void stroke(std::span<const Point> p, double width, Rgb c, bool closed, double alpha);
    void triangle(Point a, Point b, Point c, sf::Color ca, sf::Color cb, sf::Color cc);

    sf::RenderTarget& target_;
    const Fonts& fonts_;
    Sizes sizes_;
    std::optional<Box> clip_;
    std::vector<sf::Vertex> shapes_;
    std::map<std::pair<unsigned, bool>, std::vector<sf::Vertex>> text_;
};

/// Calls `each` with every code point; broken bytes become U+003F.
template <class F>
void each_code_point(std::string_view utf8, F each) {
    for (std::size_t i = 0; i < utf8.size();) {
        const auto lead = static_cast<unsigned char>(utf8[i]);
        const std::size_t length = lead < 0x80 ? 1 : lead >= 0xf0 ? 4 : lead >= 0xe0 ? 3 : lead >= 0xc2 ? 2 : 0;
        bool good = length > 0 && lead < 0xf5 && i + length <= utf8.size();
        std::uint32_t code = length == 1 ? lead : lead & (0x7fu >> length);
        for (std::size_t k = 1; good && k < length; ++k) {
            const auto c = static_cast<unsigned char>(utf8[i + k]);
            good = (c & 0xc0u) == 0x80u;
            code = code << 6u | (c & 0x3fu);
        }
        each(good && code >= 0x20 ? code : std::uint32_t{'?'});
        i += good ? length : 1;
    }
}

}  // namespace idlehark::gui
