#include "gui/look/canvas.hpp"

#include <array>
#include <cmath>
#include <numbers>

#include <SFML/Graphics/Texture.hpp>
#include <SFML/OpenGL.hpp>

namespace idlehark::gui {

namespace {

constexpr double kSoft_px = 0.5;  // half the width of the edge over which a shape fades

sf::Color colour_of(Rgb c, double alpha) {
    return {c.r, c.g, c.b, static_cast<sf::Uint8>(std::lround(255.0 * std::clamp(alpha, 0.0, 1.0)))};
}

sf::Vector2f vector(Point p) { return {static_cast<float>(p.x), static_cast<float>(p.y)}; }

Point normal(Point a, Point b) {
    const double d = distance(a, b);
    return d > 0.0 ? Point{-(b.y - a.y) / d, (b.x - a.x) / d} : Point{};
}

/// Offset of a corner so that both its sides move by 1; long spikes are cut.
Point corner(Point n0, Point n1) {
    const Point sum = n0 + n1;
    const double cut = std::max(0.25, (sum.x * sum.x + sum.y * sum.y) / 2.0);
    return sum * (1.0 / cut);
}

std::vector<Point> arc(Point middle, double radius, double from_rad, double to_rad) {
    const int steps = std::max(2, static_cast<int>(std::abs(to_rad - from_rad) * std::sqrt(std::max(radius, 1.0))));
    std::vector<Point> points;
    for (int i = 0; i <= steps; ++i) {
        const double a = from_rad + (to_rad - from_rad) * i / steps;
        points.push_back({middle.x + radius * std::cos(a), middle.y + radius * std::sin(a)});
    }
    return points;
}

std::vector<Point> circle(Point middle, double radius) {
    auto points = arc(middle, radius, 0.0, 2.0 * std::numbers::pi);
    points.pop_back();
    return points;
}

std::vector<Point> rounded(const Box& b, double radius) {
    constexpr double kQuarter = std::numbers::pi / 2.0;
    const double r = std::min({radius, b.w / 2.0, b.h / 2.0});
    std::vector<Point> points;
    const std::array<Point, 4> middles{
        {{b.right() - r, b.bottom() - r}, {b.x + r, b.bottom() - r}, {b.x + r, b.y + r}, {b.right() - r, b.y + r}}};
    for (std::size_t i = 0; i < middles.size(); ++i) {
        const auto part = arc(middles[i], r, kQuarter * static_cast<double>(i), kQuarter * static_cast<double>(i + 1));
        points.insert(points.end(), part.begin(), part.end());
    }
    return points;
}

/// Drops points that fall on the one before.
std::vector<Point> distinct(std::span<const Point> points, bool closed) {
    std::vector<Point> kept;
    for (const auto p : points)
        if (kept.empty() || distance(kept.back(), p) > 1e-3) kept.push_back(p);
    while (closed && kept.size() > 1 && distance(kept.front(), kept.back()) <= 1e-3) kept.pop_back();
    return kept;
}

std::array<Point, 4> corners(const Box& b) {
    return {{{b.x, b.y}, {b.right(), b.y}, {b.right(), b.bottom()}, {b.x, b.bottom()}}};
}

}  // namespace

class Canvas::Cut {
   public:
    explicit Cut(const Canvas& canvas) : cuts_(canvas.clip_.has_value()) {
        if (!cuts_) return;
        const auto& b = *canvas.clip_;
        const auto height = static_cast<double>(canvas.target_.getSize().y);
        glEnable(GL_SCISSOR_TEST);
        glScissor(static_cast<GLint>(b.x), static_cast<GLint>(height - b.bottom()),
                  static_cast<GLsizei>(std::max(0.0, b.w)), static_cast<GLsizei>(std::max(0.0, b.h)));
    }
    ~Cut() {
        if (cuts_) glDisable(GL_SCISSOR_TEST);
    }
    Cut(const Cut&) = delete;
    Cut& operator=(const Cut&) = delete;

   private:
    bool cuts_;
};

Canvas::Canvas(sf::RenderTarget& target, const Fonts& fonts, double scale)
    : target_(target), fonts_(fonts), sizes_{scale} {}

Canvas::~Canvas() { flush(); }

void Canvas::triangle(Point a, Point b, Point c, sf::Color ca, sf::Color cb, sf::Color cc) {
    shapes_.emplace_back(vector(a), ca);
    shapes_.emplace_back(vector(b), cb);
    shapes_.emplace_back(vector(c), cc);
}

void Canvas::box(const Box& b, Rgb c, double alpha) {
    const auto p = corners({std::round(b.x), std::round(b.y), std::round(b.right()) - std::round(b.x),
                            std::round(b.bottom()) - std::round(b.y)});
    const auto k = colour_of(c, alpha);
    triangle(p[0], p[1], p[2], k, k, k);
    triangle(p[0], p[2], p[3], k, k, k);
}

void Canvas::frame(const Box& b, double width, Rgb c) {
    const double w = std::max(1.0, std::round(width));
    box({b.x, b.y, b.w, w}, c);
    box({b.x, b.bottom() - w, b.w, w}, c);
    box({b.x, b.y + w, w, b.h - 2 * w}, c);
    box({b.right() - w, b.y + w, w, b.h - 2 * w}, c);
}

void Canvas::round_box(const Box& b, double radius, Rgb c, double alpha) { polygon(rounded(b, radius), c, alpha); }

void Canvas::round_frame(const Box& b, double radius, double width, Rgb c) {
    polyline(rounded(b, radius), width, c, true);
}

void Canvas::polygon(std::span<const Point> convex, Rgb c, double alpha) {
    const auto p = distinct(convex, true);
    if (p.size() < 3) return;
    double area = 0.0;
    for (std::size_t i = 0; i < p.size(); ++i) {
        const auto& q = p[(i + 1) % p.size()];
        area += p[i].x * q.y - q.x * p[i].y;
    }
    const double outward = area > 0.0 ? -kSoft_px : kSoft_px;
    const auto solid = colour_of(c, alpha);
    const auto faded = colour_of(c, 0.0);
    std::vector<Point> inner(p.size());
    std::vector<Point> outer(p.size());
    for (std::size_t i = 0; i < p.size(); ++i) {
        const auto before = p[(i + p.size() - 1) % p.size()];
        const auto off = corner(normal(before, p[i]), normal(p[i], p[(i + 1) % p.size()])) * outward;
        inner[i] = p[i] - off;
        outer[i] = p[i] + off;
    }
    for (std::size_t i = 0; i < p.size(); ++i) {
        const auto k = (i + 1) % p.size();
        if (i > 0 && k > 0) triangle(inner[0], inner[i], inner[k], solid, solid, solid);
        triangle(inner[i], outer[i], outer[k], solid, faded, faded);
        triangle(inner[i], outer[k], inner[k], solid, faded, solid);
    }
}

void Canvas::line(Point a, Point b, double width, Rgb c, double alpha) {
    const std::array<Point, 2> both{a, b};
    polyline(both, width, c, false, alpha);
}

void Canvas::polyline(std::span<const Point> points, double width, Rgb c, bool closed, double alpha) {
    const auto p = distinct(points, closed);
    if (closed) return stroke(p, width, c, true, alpha);
    // At a turn that nearly goes back the edges cannot meet: the line ends there, and starts anew.
    constexpr double kSharp = -0.5;
    const std::span all{p};
    std::size_t begin = 0;
    for (std::size_t i = 1; i + 1 < p.size(); ++i) {
        const auto n0 = normal(p[i - 1], p[i]);
        const auto n1 = normal(p[i], p[i + 1]);
        if (n0.x * n1.x + n0.y * n1.y >= kSharp) continue;
        stroke(all.subspan(begin, i + 1 - begin), width, c, false, alpha);
        begin = i;
    }
    stroke(all.subspan(std::min(begin, p.size())), width, c, false, alpha);
}

void Canvas::stroke(std::span<const Point> p, double width, Rgb c, bool closed, double alpha) {
    if (p.size() < 2) return;
    const double half = std::max(width, 1.0) / 2.0;
    const auto solid = colour_of(c, alpha * std::min(1.0, width));
    const auto faded = colour_of(c, 0.0);
    const std::size_t n = p.size();
    struct Edge {
        Point outer_left, left, right, outer_right;
    };
    std::vector<Edge> edges(n);
    for (std::size_t i = 0; i < n; ++i) {
        const bool first = !closed && i == 0;
        const bool last = !closed && i == n - 1;
        const auto before = first ? normal(p[0], p[1]) : normal(p[(i + n - 1) % n], p[i]);
        const auto after = last ? before : normal(p[i], p[(i + 1) % n]);
        const auto off = corner(before, after);
        edges[i] = {p[i] + off * (half + kSoft_px), p[i] + off * (half - kSoft_px), p[i] - off * (half - kSoft_px),
                    p[i] - off * (half + kSoft_px)};
    }
    const auto quad = [&](Point a, Point b, Point d, Point e, sf::Color ca, sf::Color cd) {
        triangle(a, b, d, ca, ca, cd);
        triangle(b, e, d, ca, cd, cd);
    };
    for (std::size_t i = 0; i + (closed ? 0 : 1) < n; ++i) {
        const auto& a = edges[i];
        const auto& b = edges[(i + 1) % n];
        quad(a.left, b.left, a.right, b.right, solid, solid);
        quad(a.outer_left, b.outer_left, a.left, b.left, faded, solid);
        quad(a.outer_right, b.outer_right, a.right, b.right, faded, solid);
    }
}

void Canvas::dashes(Point a, Point b, double width, double dash, Rgb c) {
    const double length = distance(a, b);
    if (!(length > 0.0) || !(dash > 0.0)) return;
    const Point along = (b - a) * (1.0 / length);
    for (double at = 0.0; at < length; at += 2.0 * dash)
        line(a + along * at, a + along * std::min(at + dash, length), width, c);
}

void Canvas::disc(Point middle, double radius, Rgb c, double alpha) { polygon(circle(middle, radius), c, alpha); }

void Canvas::ring(Point middle, double radius, double width, Rgb c) {
    polyline(circle(middle, radius), width, c, true);
}

void Canvas::strip(std::span<const double> x, std::span<const double> low, std::span<const double> high, Rgb c) {
    const auto k = colour_of(c, 1.0);
    for (std::size_t i = 0; i + 1 < x.size(); ++i) {
        triangle({x[i], low[i]}, {x[i + 1], low[i + 1]}, {x[i], high[i]}, k, k, k);
        triangle({x[i + 1], low[i + 1]}, {x[i + 1], high[i + 1]}, {x[i], high[i]}, k, k, k);
    }
}

void Canvas::sign(Finding f, Point m, double r) {
    const double width = std::max(2.0, 0.28 * r);
    switch (f) {
        case Finding::fault: {
            const std::array<Point, 4> diamond{
                {{m.x, m.y - 1.2 * r}, {m.x + 1.2 * r, m.y}, {m.x, m.y + 1.2 * r}, {m.x - 1.2 * r, m.y}}};
            polygon(diamond, palette::kFault);
            return;
        }
        case Finding::shadowed: {
            const std::array<Point, 3> whole{
                {{m.x, m.y - r}, {m.x + 1.15 * r, m.y + 0.9 * r}, {m.x - 1.15 * r, m.y + 0.9 * r}}};
            const std::array<Point, 3> half{{{m.x, m.y - r}, {m.x, m.y + 0.9 * r}, {m.x - 1.15 * r, m.y + 0.9 * r}}};
            polygon(whole, palette::kShadowed);
            polygon(half, palette::kInk);
            polyline(whole, width, palette::kInk, true);
            return;
        }
        case Finding::clear:
            disc(m, r, palette::kPanel);
            ring(m, 0.9 * r, width, palette::kOnClear);
            return;
        case Finding::open: {
            const auto square = corners({m.x - 0.8 * r, m.y - 0.8 * r, 1.6 * r, 1.6 * r});
            polygon(square, palette::kPanel);
            polyline(square, width, palette::kOpen, true);
            return;
        }
    }
}

void Canvas::text(Point at, std::string_view words, const TextStyle& style) {
    const auto size = sizes_.text_px(style.size);
    const double width = style.align == Align::left ? 0.0 : width_of(words, style.size, style.bold);
    // Glyphs are sharp on whole pixels only.
    auto x = static_cast<float>(std::round(at.x - (style.align == Align::middle  ? width / 2.0
                                                   : style.align == Align::right ? width
                                                                                 : 0.0)));
    const auto y = static_cast<float>(std::round(at.y));
    auto& vertices = text_[{size, style.bold}];
    const auto colour = colour_of(style.colour, 1.0);
    each_code_point(words, [&](std::uint32_t code) {
        const auto& glyph = font(style.bold).getGlyph(code, size, false);
        const auto left = std::round(x) + glyph.bounds.left;
        const auto top = y + glyph.bounds.top;
        const auto right = left + glyph.bounds.width;
        const auto bottom = top + glyph.bounds.height;
        const auto tl = static_cast<float>(glyph.textureRect.left);
        const auto tt = static_cast<float>(glyph.textureRect.top);
        const auto tr = tl + static_cast<float>(glyph.textureRect.width);
        const auto tb = tt + static_cast<float>(glyph.textureRect.height);
        const sf::Vertex a{{left, top}, colour, {tl, tt}};
        const sf::Vertex b{{right, top}, colour, {tr, tt}};
        const sf::Vertex c{{right, bottom}, colour, {tr, tb}};
        const sf::Vertex d{{left, bottom}, colour, {tl, tb}};
        for (const auto& v : {a, b, c, a, c, d}) vertices.push_back(v);
        x += glyph.advance;
    });
}

void Canvas::text_middle(Point at, std::string_view words, const TextStyle& style) {
    text({at.x, at.y + cap_height(style.size) / 2.0}, words, style);
}

double Canvas::width_of(std::string_view words, double size, bool bold) const {
    double width = 0.0;
    const auto size_px = sizes_.text_px(size);
    each_code_point(words, [&](std::uint32_t code) {
        width += static_cast<double>(font(bold).getGlyph(code, size_px, false).advance);
    });
    return width;
}

std::string Canvas::fitted(std::string_view words, double width, double size, bool bold) const {
    std::string s{words};
    if (width_of(s, size, bold) <= width) return s;
    while (!s.empty() && width_of(s + "…", size, bold) > width) {
        while (!s.empty() && (static_cast<unsigned char>(s.back()) & 0xc0u) == 0x80u) s.pop_back();
        if (!s.empty()) s.pop_back();
    }
    while (!s.empty() && s.back() == ' ') s.pop_back();
    return s + "…";
}

std::vector<std::string> Canvas::wrapped(std::string_view words, double width, double size, bool bold,
                                         std::size_t most) const {
    std::vector<std::string> lines;
    std::string line;
    std::size_t at = 0;
    while (at < words.size()) {
        const auto space = std::min(words.find(' ', at), words.size());
        const std::string next{words.substr(at, space - at)};
        std::string longer = line;
        if (!line.empty()) longer += ' ';
        longer += next;
        if (line.empty() || width_of(longer, size, bold) <= width) {
            line = longer;
        } else if (lines.size() + 1 >= most) {  // no more lines: the rest goes here, shortened
            lines.push_back(fitted(line.append(" ").append(words.substr(at)), width, size, bold));
            return lines;
        } else {
            lines.push_back(line);
            line = next;
        }
        at = space + 1;
    }
    if (!line.empty()) lines.push_back(fitted(line, width, size, bold));
    return lines;
}

void Canvas::picture(const sf::Texture& texture, const Box& part_px, const Box& on) {
    flush();
    const auto from = corners(part_px);
    const auto to = corners(on);
    std::array<sf::Vertex, 4> v;
    const Cut cut{*this};
    for (std::size_t i = 0; i < v.size(); ++i) v[i] = {vector(to[i]), sf::Color::White, vector(from[i])};
    target_.draw(v.data(), v.size(), sf::TriangleFan, sf::RenderStates{&texture});
}

void Canvas::flush() {
    const Cut cut{*this};
    if (!shapes_.empty()) target_.draw(shapes_.data(), shapes_.size(), sf::Triangles);
    shapes_.clear();
    for (auto& [key, vertices] : text_) {
        if (!vertices.empty())
            target_.draw(vertices.data(), vertices.size(), sf::Triangles,
                         sf::RenderStates{&font(key.second).getTexture(key.first)});
        vertices.clear();
    }
}

}  // namespace idlehark::gui
