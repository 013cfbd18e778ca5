#include "src/report/page.hpp"

#include "src/files/plain_text.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include <cairo-svg.h>
#include <cairo.h>
#include <fmt/format.h>

namespace idlehark {

namespace {

struct DropSurface {
    void operator()(cairo_surface_t* s) const noexcept { cairo_surface_destroy(s); }
};
struct DropContext {
    void operator()(cairo_t* c) const noexcept { cairo_destroy(c); }
};

/// On one line, as it is drawn; and Cairo refuses text that is not UTF-8, for instance out of a file name.
std::string one_line(std::string_view text) {
    std::string line{text};
    std::replace_if(
        line.begin(), line.end(), [](char c) { return c == '\n' || c == '\r' || c == '\t'; }, ' ');
    return printable(line);
}

}  // namespace

void Pen::colour(Colour k, double alpha) const { cairo_set_source_rgba(c_, k.r, k.g, k.b, alpha); }

void Pen::box(double x, double y, double w, double h, Colour k, double alpha) const {
    colour(k, alpha);
    cairo_rectangle(c_, x, y, w, h);
    cairo_fill(c_);
}

void Pen::line(double x0, double y0, double x1, double y1, Colour k, double width) const {
    colour(k);
    cairo_set_line_width(c_, width);
    cairo_move_to(c_, x0, y0);
    cairo_line_to(c_, x1, y1);
    cairo_stroke(c_);
}

double Pen::width_of(std::string_view text, double size, bool bold) const {
    font(size, bold);
    cairo_text_extents_t e{};
    cairo_text_extents(c_, one_line(text).c_str(), &e);
    return e.x_advance;
}

void Pen::text(double x, double y, std::string_view words, double size, Colour k, Align align, bool bold) const {
    const double w = align == Align::left ? 0.0 : width_of(words, size, bold);
    font(size, bold);
    colour(k);
    cairo_move_to(c_, align == Align::left ? x : align == Align::middle ? x - w / 2 : x - w, y);
    cairo_show_text(c_, one_line(words).c_str());
}

std::string Pen::fitted(std::string_view words, double width, double size, bool bold) const {
    // No more than that fits into any page; a name of a megabyte would be measured a million times.
    constexpr std::size_t kMost_bytes = 600;
    std::string s = one_line(words.substr(0, kMost_bytes));
    if (width_of(s, size, bold) <= width) return s;
    while (!s.empty() && width_of(s + "…", size, bold) > width) {
        while (!s.empty() && (static_cast<unsigned char>(s.back()) & 0xc0) == 0x80) s.pop_back();
        if (!s.empty()) s.pop_back();
    }
    return s + "…";
}

void Pen::polygon(std::initializer_list<std::array<double, 2>> points) const {
    cairo_new_path(c_);
    for (const auto& [x, y] : points) cairo_line_to(c_, x, y);
    cairo_close_path(c_);
}

void Pen::font(double size, bool bold) const {
    cairo_select_font_face(c_, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                           bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(c_, size);
}

void Pen::sign(double x, double y, double r, Finding shape, Colour k) const {
    colour(k);
    cairo_set_line_width(c_, 3.0);
    switch (shape) {
        case Finding::fault:
            polygon({{x, y - 1.25 * r}, {x + 1.25 * r, y}, {x, y + 1.25 * r}, {x - 1.25 * r, y}});
            cairo_fill(c_);
            return;
        case Finding::shadowed:
            polygon({{x, y - r}, {x, y + 0.9 * r}, {x - 1.1 * r, y + 0.9 * r}});
            cairo_fill(c_);
            polygon({{x, y - r}, {x + 1.1 * r, y + 0.9 * r}, {x - 1.1 * r, y + 0.9 * r}});
            break;
        case Finding::clear:
            cairo_new_sub_path(c_);
            cairo_arc(c_, x, y, 0.9 * r, 0, 2 * std::numbers::pi);
            break;
        case Finding::open:
            polygon({{x - 0.8 * r, y - 0.8 * r},
                     {x + 0.8 * r, y - 0.8 * r},
                     {x + 0.8 * r, y + 0.8 * r},
                     {x - 0.8 * r, y + 0.8 * r}});
            break;
    }
    cairo_stroke(c_);
}

void Pen::photo(const Photo& photo, double x, double y, double w, double h) const {
    const std::unique_ptr<cairo_surface_t, DropSurface> surface{cairo_image_surface_create(
        CAIRO_FORMAT_RGB24, static_cast<int>(photo.width_px), static_cast<int>(photo.height_px))};
    auto bytes = std::make_unique<std::string>(photo.jpeg);
    auto* const held = bytes.get();
    if (cairo_surface_set_mime_data(
            surface.get(), CAIRO_MIME_TYPE_JPEG, reinterpret_cast<const unsigned char*>(held->data()), held->size(),
            [](void* whose) { delete static_cast<std::string*>(whose); }, held) != CAIRO_STATUS_SUCCESS)
        return;
    static_cast<void>(bytes.release());  // the surface's now
    cairo_save(c_);
    cairo_translate(c_, x, y);
    cairo_scale(c_, w / photo.width_px, h / photo.height_px);
    cairo_set_source_surface(c_, surface.get(), 0.0, 0.0);
    cairo_paint(c_);
    cairo_restore(c_);
}

void Pen::wrap(std::string_view words, std::vector<std::string>& lines) const {
    const std::string text{words};
    std::string line;
    std::size_t at = 0;
    while (at < text.size()) {
        const auto space = std::min(text.find(' ', at), text.size());
        const auto next = text.substr(at, space - at);
        const auto longer = line.empty() ? next : fmt::format("{} {}", line, next);
        if (!line.empty() && width_of(longer, kSmallSize) > kWidth - 2 * kMargin) {
            lines.push_back(line);
            line = next;
        } else {
            line = longer;
        }
        at = space + 1;
    }
    if (!line.empty()) lines.push_back(line);
}

std::vector<double> Axis::ticks(int about) const {
    const double rough = (high - low) / about;
    const double decade = std::pow(10.0, std::floor(std::log10(rough)));
    double step = 10 * decade;
    for (const double m : {5.0, 2.0, 1.0})
        if (m * decade >= rough) step = m * decade;
    std::vector<double> list;
    const double first = std::ceil(low / step);
    const double count = std::floor(high / step) - first;
    if (!(count >= 0.0 && count < 10.0 * about)) return list;  // no range that a tick could mark
    for (double k = 0.0; k <= count; ++k) list.push_back((first + k) * step);
    return list;
}

namespace {

double height_by(const std::function<double(const Pen&)>& height_of) {
    // Text has to be measured before the page's height is known.
    const std::unique_ptr<cairo_surface_t, DropSurface> probe{cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1)};
    const std::unique_ptr<cairo_t, DropContext> context{cairo_create(probe.get())};
    return height_of(Pen{context.get()});
}

void replace_all(std::string& text, std::string_view what, std::string_view by) {
    for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + by.size()))
        text.replace(at, what.size(), by);
}

}  // namespace

std::string html_text(std::string_view text) {
    std::string out;
    for (const char c : one_line(text)) switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\'':
                out += "&#39;";
                break;
            default:
                out += c;
        }
    return out;
}

std::string inline_page(std::string_view prefix, std::string_view label,
                        const std::function<double(const Pen&)>& height_of,
                        const std::function<void(const Pen&, double height)>& draw) {
    const double height = height_by(height_of);
    std::string svg;
    const auto append = [](void* to, const unsigned char* data, unsigned length) {
        static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(data), length);
        return CAIRO_STATUS_SUCCESS;
    };
    {
        const std::unique_ptr<cairo_surface_t, DropSurface> surface{
            cairo_svg_surface_create_for_stream(append, &svg, kWidth, height)};
        const std::unique_ptr<cairo_t, DropContext> context{cairo_create(surface.get())};
        draw(Pen{context.get()}, height);
        cairo_surface_finish(surface.get());
    }
    // Cairo writes a file of its own: of it the drawing is kept, under names that no other drawing of the page has.
    const auto from = svg.find('>', svg.find("<svg"));
    const auto to = svg.rfind("</svg>");
    if (from == std::string::npos || to == std::string::npos) return {};
    auto body = svg.substr(from + 1, to - from - 1);
    replace_all(body, "xlink:href", "href");
    replace_all(body, " id=\"", fmt::format(" id=\"{}-", prefix));
    replace_all(body, "href=\"#", fmt::format("href=\"#{}-", prefix));
    replace_all(body, "url(#", fmt::format("url(#{}-", prefix));
    return fmt::format("<svg viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{}\">{}</svg>\n", kWidth, height,
                       html_text(label), body);
}

Result<Done> check_picture_name(const std::string& path) {
    if (path.ends_with(".png") || path.ends_with(".svg")) return Done{};
    return Error{path + ": a picture is written as .png or .svg", ""};
}

Result<Done> write_page(const std::string& path, const std::function<double(const Pen&)>& height_of,
                        const std::function<void(const Pen&, double height)>& draw) {
    if (const auto named = check_picture_name(path); !named) return named.error();
    const bool png = path.ends_with(".png");
    const double height = height_by(height_of);
    const std::unique_ptr<cairo_surface_t, DropSurface> surface{
        png ? cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(kWidth), static_cast<int>(height))
            : cairo_svg_surface_create(path.c_str(), kWidth, height)};
    const std::unique_ptr<cairo_t, DropContext> context{cairo_create(surface.get())};
    draw(Pen{context.get()}, height);
    auto status = cairo_status(context.get());
    if (status == CAIRO_STATUS_SUCCESS && png) status = cairo_surface_write_to_png(surface.get(), path.c_str());
    cairo_surface_finish(surface.get());
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface.get());
    if (status != CAIRO_STATUS_SUCCESS)
        return Error{fmt::format("{}: cannot be written ({})", path, cairo_status_to_string(status)), ""};
    return Done{};
}

}  // namespace idlehark
