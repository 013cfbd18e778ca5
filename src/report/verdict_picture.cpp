#include "src/report/verdict_picture.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <numbers>
#include <string_view>
#include <vector>

#include <cairo-svg.h>
#include <cairo.h>
#include <fmt/format.h>

namespace idlehark {

namespace {

struct Colour {
    double r, g, b;
};
constexpr Colour kPaper{0.985, 0.975, 0.955};
constexpr Colour kPanel{1.0, 1.0, 1.0};
constexpr Colour kInk{0.11, 0.14, 0.18};
constexpr Colour kFaintInk{0.42, 0.45, 0.48};
constexpr Colour kGrid{0.86, 0.85, 0.83};
constexpr Colour kBand{0.93, 0.94, 0.90};
constexpr Colour kTrace{0.16, 0.34, 0.46};

constexpr Colour colour_of(SprayVerdict v) {
    switch (v) {
        case SprayVerdict::leak:
            return {0.74, 0.12, 0.10};
        case SprayVerdict::overspray:
            return {0.76, 0.46, 0.02};
        case SprayVerdict::none_seen:
            return {0.10, 0.44, 0.34};
        case SprayVerdict::undecided:
            break;
    }
    return {0.40, 0.40, 0.44};
}

// All lengths in pixels of a page 1600 wide.
constexpr double kWidth = 1600;
constexpr double kMargin = 44;
constexpr double kHeader = 138;
constexpr double kTraceHeight = 300;
constexpr double kTraceLeft = 130;
constexpr double kRowsHead = 92;  // axis title and tick labels above the rows
constexpr double kRow = 54;
constexpr double kAxisLeft = 540;
constexpr double kAxisRight = 1120;
constexpr double kVerdictLeft = 1156;
constexpr double kLine = 30;  // of the footer
constexpr double kTitleSize = 38;
constexpr double kTextSize = 23;
constexpr double kSmallSize = 19;

struct DropSurface {
    void operator()(cairo_surface_t* s) const noexcept { cairo_surface_destroy(s); }
};
struct DropContext {
    void operator()(cairo_t* c) const noexcept { cairo_destroy(c); }
};

/// Cairo refuses text that is not UTF-8, for instance out of a file name.
std::string printable(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size();) {
        const auto c = static_cast<unsigned char>(text[i]);
        const std::size_t length = c < 0x80 ? 1 : c >= 0xf0 ? 4 : c >= 0xe0 ? 3 : c >= 0xc2 ? 2 : 0;
        bool good = length > 0 && i + length <= text.size() && c >= 0x20 && c < 0xf5;
        for (std::size_t k = 1; good && k < length; ++k)
            good = (static_cast<unsigned char>(text[i + k]) & 0xc0) == 0x80;
        out += good ? std::string{text.substr(i, length)} : "?";
        i += good ? length : 1;
    }
    return out;
}

enum class Align { left, middle, right };

class Pen {
   public:
    explicit Pen(cairo_t* c) : c_(c) {}

    void colour(Colour k, double alpha = 1.0) const { cairo_set_source_rgba(c_, k.r, k.g, k.b, alpha); }
    void box(double x, double y, double w, double h, Colour k, double alpha = 1.0) const {
        colour(k, alpha);
        cairo_rectangle(c_, x, y, w, h);
        cairo_fill(c_);
    }
    void line(double x0, double y0, double x1, double y1, Colour k, double width) const {
        colour(k);
        cairo_set_line_width(c_, width);
        cairo_move_to(c_, x0, y0);
        cairo_line_to(c_, x1, y1);
        cairo_stroke(c_);
    }
    double width_of(std::string_view text, double size, bool bold = false) const {
        font(size, bold);
        cairo_text_extents_t e{};
        cairo_text_extents(c_, printable(text).c_str(), &e);
        return e.x_advance;
    }
    /// y is the baseline.
    void text(double x, double y, std::string_view words, double size, Colour k, Align align = Align::left,
              bool bold = false) const {
        const double w = align == Align::left ? 0.0 : width_of(words, size, bold);
        font(size, bold);
        colour(k);
        cairo_move_to(c_, align == Align::left ? x : align == Align::middle ? x - w / 2 : x - w, y);
        cairo_show_text(c_, printable(words).c_str());
    }
    /// Shortens with an ellipsis to fit.
    std::string fitted(std::string_view words, double width, double size, bool bold = false) const {
        std::string s = printable(words);
        if (width_of(s, size, bold) <= width) return s;
        while (!s.empty() && width_of(s + "…", size, bold) > width) {
            while (!s.empty() && (static_cast<unsigned char>(s.back()) & 0xc0) == 0x80) s.pop_back();
            if (!s.empty()) s.pop_back();
        }
        return s + "…";
    }
    /// The sign of a verdict, told apart by shape: leak a filled diamond, overspray a half-filled triangle, none seen
    /// an open circle, undecided an open square.
    void sign(double x, double y, double r, SprayVerdict v) const {
        colour(colour_of(v));
        cairo_set_line_width(c_, 3.0);
        switch (v) {
            case SprayVerdict::leak:
                polygon({{x, y - 1.25 * r}, {x + 1.25 * r, y}, {x, y + 1.25 * r}, {x - 1.25 * r, y}});
                cairo_fill(c_);
                return;
            case SprayVerdict::overspray:
                polygon({{x, y - r}, {x, y + 0.9 * r}, {x - 1.1 * r, y + 0.9 * r}});
                cairo_fill(c_);
                polygon({{x, y - r}, {x + 1.1 * r, y + 0.9 * r}, {x - 1.1 * r, y + 0.9 * r}});
                break;
            case SprayVerdict::none_seen:
                cairo_new_sub_path(c_);
                cairo_arc(c_, x, y, 0.9 * r, 0, 2 * std::numbers::pi);
                break;
            case SprayVerdict::undecided:
                polygon({{x - 0.8 * r, y - 0.8 * r},
                         {x + 0.8 * r, y - 0.8 * r},
                         {x + 0.8 * r, y + 0.8 * r},
                         {x - 0.8 * r, y + 0.8 * r}});
                break;
        }
        cairo_stroke(c_);
    }
    void polygon(std::initializer_list<std::array<double, 2>> points) const {
        cairo_new_path(c_);
        for (const auto& [x, y] : points) cairo_line_to(c_, x, y);
        cairo_close_path(c_);
    }
    [[nodiscard]] cairo_t* raw() const { return c_; }

   private:
    void font(double size, bool bold) const {
        cairo_select_font_face(c_, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                               bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
        cairo_set_font_size(c_, size);
    }
    cairo_t* c_;
};

/// A linear axis with round ticks.
struct Axis {
    double low, high;  // values
    double from_px, to_px;

    [[nodiscard]] double at(double v) const { return from_px + (v - low) / (high - low) * (to_px - from_px); }
    [[nodiscard]] std::vector<double> ticks(int about) const {
        const double rough = (high - low) / about;
        const double decade = std::pow(10.0, std::floor(std::log10(rough)));
        double step = 10 * decade;
        for (const double m : {5.0, 2.0, 1.0})
            if (m * decade >= rough) step = m * decade;
        std::vector<double> list;
        for (double k = std::ceil(low / step); k * step <= high; ++k) list.push_back(k * step);
        return list;
    }
};

/// Time ticks fall on round seconds or minutes.
std::vector<double> time_ticks(double length_s) {
    double step = 7200;
    for (const double s : {1800.0, 600.0, 300.0, 120.0, 60.0, 30.0, 10.0, 5.0, 1.0})
        if (length_s / s <= 13) step = s;
    std::vector<double> list;
    for (double t = 0; t <= length_s; t += step) list.push_back(t);
    return list;
}

std::string minutes(double t) {
    const int s = static_cast<int>(std::lround(t));
    return fmt::format("{}:{:02}", s / 60, s % 60);
}

SprayVerdict verdict_of(const VerdictView& view, const std::string& spot) {
    const auto it =
        std::find_if(view.spots.begin(), view.spots.end(), [&](const SpotRow& s) { return s.spot == spot; });
    return it == view.spots.end() ? SprayVerdict::undecided : it->verdict;
}

void draw_header(const Pen& pen, const VerdictView& view) {
    const double room = kWidth - 2 * kMargin;
    auto title = headline(view, true);
    if (pen.width_of(title, kTitleSize, true) > room) title = headline(view, false);
    pen.text(kMargin, 68, pen.fitted(title, room, kTitleSize, true), kTitleSize, kInk, Align::left, true);
    std::string facts = view.engine.empty() ? view.recording : view.engine + " · " + view.recording;
    if (std::isfinite(view.idle_rpm)) facts += fmt::format(" · idle {:.0f} rpm", view.idle_rpm);
    if (std::isfinite(view.hunting_rpm)) facts += fmt::format(" · hunts by {:.0f} rpm", view.hunting_rpm);
    if (std::isfinite(view.smallest_provable_rpm))
        facts += fmt::format(" · smallest change this test can prove: {:.0f} rpm", view.smallest_provable_rpm);
    pen.text(kMargin, 110, pen.fitted(facts, kWidth - 2 * kMargin, kTextSize), kTextSize, kFaintInk);
}

void draw_trace(const Pen& pen, const VerdictView& view, double top) {
    const double left = kTraceLeft;
    const double right = kWidth - kMargin;
    const double bottom = top + kTraceHeight;
    pen.box(left, top, right - left, kTraceHeight, kPanel);

    std::vector<double> speeds;
    double end_s = 1.0;
    for (const auto& p : view.speed) {
        end_s = std::max(end_s, p.time_s);
        if (std::isfinite(p.rpm)) speeds.push_back(p.rpm);
    }
    for (const auto& b : view.bursts) end_s = std::max(end_s, b.time_s);
    if (speeds.empty()) {
        pen.text((left + right) / 2, (top + bottom) / 2, "no speed could be followed", kTextSize, kFaintInk,
                 Align::middle);
        return;
    }
    // A few stray readings must not squeeze the rest: the axis spans the middle 99.8 % and some air.
    std::sort(speeds.begin(), speeds.end());
    const auto quantile = [&](double q) {
        return speeds[static_cast<std::size_t>(q * static_cast<double>(speeds.size() - 1))];
    };
    const double spread = std::max(quantile(0.999) - quantile(0.001), 10.0);
    const Axis y{quantile(0.001) - 0.08 * spread, quantile(0.999) + 0.30 * spread, bottom, top};
    const Axis x{0.0, end_s, left, right};

    for (const double v : y.ticks(5)) {
        pen.line(left, y.at(v), right, y.at(v), kGrid, 1.0);
        pen.text(left - 12, y.at(v) + 7, fmt::format("{:.0f}", v), kSmallSize, kInk, Align::right);
    }
    pen.text(kMargin - 10, top - 14, "rpm", kSmallSize, kFaintInk);
    for (const double t : time_ticks(end_s)) {
        pen.line(x.at(t), bottom, x.at(t), bottom + 8, kFaintInk, 1.5);
        pen.text(x.at(t), bottom + 30, minutes(t), kSmallSize, kInk, Align::middle);
    }

    double free_from = -1e9;  // labels that would touch the one before are left out; the line stays
    for (const auto& b : view.bursts) {
        const auto verdict = verdict_of(view, b.spot);
        const bool leak = verdict == SprayVerdict::leak;
        const double px = x.at(b.time_s);
        pen.line(px, top + 34, px, bottom, leak ? colour_of(verdict) : kGrid, leak ? 2.5 : 1.5);
        const double half = pen.width_of(b.spot, kSmallSize, leak) / 2;
        if (!leak && px - half < free_from) continue;
        pen.text(px, top + 26, b.spot, kSmallSize, leak ? colour_of(verdict) : kFaintInk, Align::middle, leak);
        free_from = px + half + 5;
    }

    cairo_t* c = pen.raw();
    cairo_save(c);
    cairo_rectangle(c, left, top, right - left, kTraceHeight);
    cairo_clip(c);
    pen.colour(kTrace);
    cairo_set_line_width(c, 2.0);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    bool drawing = false;
    for (const auto& p : view.speed) {
        if (std::isfinite(p.rpm) && drawing) cairo_line_to(c, x.at(p.time_s), y.at(p.rpm));
        if (std::isfinite(p.rpm) && !drawing) cairo_move_to(c, x.at(p.time_s), y.at(p.rpm));
        drawing = std::isfinite(p.rpm);
    }
    cairo_stroke(c);
    cairo_restore(c);
}

Axis change_axis(const VerdictView& view) {
    double reach = std::isfinite(view.matters_rpm) ? 1.25 * view.matters_rpm : 10.0;
    double low = -reach;
    double high = reach;
    // A spot heard once may have an interval as wide as the page: its end is cut rather than the others squeezed.
    for (const auto& s : view.spots) {
        if (!std::isfinite(s.change_rpm)) continue;
        reach = std::max(reach, 1.4 * std::fabs(s.change_rpm));
    }
    for (const auto& s : view.spots) {
        if (std::isfinite(s.low_rpm)) low = std::min(low, std::max(s.low_rpm, -2.0 * reach));
        if (std::isfinite(s.high_rpm)) high = std::max(high, std::min(s.high_rpm, 2.0 * reach));
    }
    const double air = 0.05 * (high - low);
    return {low - air, high + air, kAxisLeft, kAxisRight};
}

void draw_rows(const Pen& pen, const VerdictView& view, double top) {
    const auto rows = ranked(view.spots);
    const auto x = change_axis(view);
    const double first = top + kRowsHead;
    const double bottom = first + kRow * static_cast<double>(rows.size());

    pen.text(kMargin, top + 30, "Spot", kTextSize, kInk, Align::left, true);
    pen.text((kAxisLeft + kAxisRight) / 2, top + 30, "Change of idle speed, rpm (95 % interval)", kTextSize, kInk,
             Align::middle, true);
    pen.text(kVerdictLeft, top + 30, "Verdict", kTextSize, kInk, Align::left, true);

    pen.box(kAxisLeft, first, kAxisRight - kAxisLeft, bottom - first, kPanel);
    if (std::isfinite(view.matters_rpm)) {
        const double from = std::max(x.at(-view.matters_rpm), kAxisLeft);
        const double to = std::min(x.at(view.matters_rpm), kAxisRight);
        pen.box(from, first, to - from, bottom - first, kBand);
    }
    for (const double v : x.ticks(6)) {
        pen.line(x.at(v), first, x.at(v), bottom, kGrid, 1.0);
        pen.text(x.at(v), first - 12, signed_rpm(v), kSmallSize, kInk, Align::middle);
    }
    pen.line(x.at(0), first - 4, x.at(0), bottom, kInk, 2.5);

    for (std::size_t i = 0; i < rows.size(); ++i) {
        const auto& s = rows[i];
        const double y = first + kRow * (static_cast<double>(i) + 0.5);
        const auto colour = colour_of(s.verdict);
        const bool leak = s.verdict == SprayVerdict::leak;
        if (i > 0) pen.line(kMargin, y - kRow / 2, kWidth - kMargin, y - kRow / 2, kGrid, 1.0);

        const double number = std::max(pen.width_of(s.spot, kTextSize, true), 34.0);
        pen.text(kMargin, y + 8, pen.fitted(s.spot, 150, kTextSize, true), kTextSize, kInk, Align::left, true);
        const double name_at = kMargin + std::min(number, 150.0) + 22;
        pen.text(name_at, y + 8, pen.fitted(s.name, kAxisLeft - 20 - name_at, kTextSize), kTextSize, kInk);

        if (std::isfinite(s.low_rpm) && std::isfinite(s.high_rpm) && std::isfinite(s.change_rpm)) {
            const auto inside = [](double px) { return std::clamp(px, kAxisLeft, kAxisRight); };
            const double from = inside(x.at(s.low_rpm));
            const double to = inside(x.at(s.high_rpm));
            pen.line(from, y, to, y, colour, leak ? 6.0 : 4.0);
            if (x.at(s.low_rpm) >= kAxisLeft) pen.line(from, y - 9, from, y + 9, colour, 3.0);
            if (x.at(s.high_rpm) <= kAxisRight) pen.line(to, y - 9, to, y + 9, colour, 3.0);
            pen.line(inside(x.at(s.change_rpm)), y - 14, inside(x.at(s.change_rpm)), y + 14, colour, 6.0);
        } else {
            pen.text((kAxisLeft + kAxisRight) / 2, y + 7, "no figure", kSmallSize, kFaintInk, Align::middle);
        }

        pen.sign(kVerdictLeft + 14, y, 12, s.verdict);
        pen.text(kVerdictLeft + 42, y + 8, word(s.verdict), kTextSize, colour, Align::left, true);
        if (std::isfinite(s.change_rpm))
            pen.text(
                kWidth - kMargin, y + 8,
                fmt::format("{} ({} to {})", signed_rpm(s.change_rpm), signed_rpm(s.low_rpm), signed_rpm(s.high_rpm)),
                kSmallSize, kInk, Align::right);
    }
}

/// The lines under the rows: what the shaded band is, cautions, and what comes first.
std::vector<std::string> footer_lines(const Pen& pen, const VerdictView& view) {
    std::vector<std::string> lines;
    const auto add = [&](const std::string& text) {  // wraps at words
        std::string line;
        std::size_t at = 0;
        while (at < text.size()) {
            const auto space = std::min(text.find(' ', at), text.size());
            const auto next = text.substr(at, space - at);
            const auto longer = line.empty() ? next : fmt::format("{} {}", line, next);
            if (!line.empty() && pen.width_of(longer, kSmallSize) > kWidth - 2 * kMargin) {
                lines.push_back(line);
                line = next;
            } else {
                line = longer;
            }
            at = space + 1;
        }
        if (!line.empty()) lines.push_back(line);
    };
    if (std::isfinite(view.matters_rpm))
        add(fmt::format(
            "Shaded: changes under {:.0f} rpm. \"none seen\" is said only where the whole interval lies there.",
            view.matters_rpm));
    for (const auto& c : view.cautions) add("Caution: " + c);
    add("Sprays burn: local rules, the can's label, the car's handbook and a licensed technician come before this "
        "picture.");
    return lines;
}

double page_height(const VerdictView& view, std::size_t footer) {
    return kHeader + 40 + kTraceHeight + 60 + kRowsHead + kRow * static_cast<double>(view.spots.size()) + 40 +
           kLine * static_cast<double>(footer) + 20;
}

void draw_page(const Pen& pen, const VerdictView& view, const std::vector<std::string>& footer, double height) {
    pen.box(0, 0, kWidth, height, kPaper);
    draw_header(pen, view);
    const double trace = kHeader + 40;
    draw_trace(pen, view, trace);
    const double rows = trace + kTraceHeight + 60;
    draw_rows(pen, view, rows);
    double y = rows + kRowsHead + kRow * static_cast<double>(view.spots.size()) + 52;
    for (const auto& line : footer) {
        pen.text(kMargin, y, line, kSmallSize, kFaintInk);
        y += kLine;
    }
}

}  // namespace

Result<Done> draw_verdict(const VerdictView& view, const std::string& path) {
    const bool png = path.ends_with(".png");
    if (!png && !path.ends_with(".svg")) return Error{path + ": a picture is written as .png or .svg", ""};

    // Text has to be measured before the page's height is known.
    const std::unique_ptr<cairo_surface_t, DropSurface> probe{cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1)};
    const std::unique_ptr<cairo_t, DropContext> probe_context{cairo_create(probe.get())};
    const auto footer = footer_lines(Pen{probe_context.get()}, view);
    const double height = page_height(view, footer.size());

    const std::unique_ptr<cairo_surface_t, DropSurface> surface{
        png ? cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(kWidth), static_cast<int>(height))
            : cairo_svg_surface_create(path.c_str(), kWidth, height)};
    const std::unique_ptr<cairo_t, DropContext> context{cairo_create(surface.get())};
    draw_page(Pen{context.get()}, view, footer, height);
    auto status = cairo_status(context.get());
    if (status == CAIRO_STATUS_SUCCESS && png) status = cairo_surface_write_to_png(surface.get(), path.c_str());
    cairo_surface_finish(surface.get());
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface.get());
    if (status != CAIRO_STATUS_SUCCESS)
        return Error{fmt::format("{}: cannot be written ({})", path, cairo_status_to_string(status)), ""};
    return Done{};
}

}  // namespace idlehark
