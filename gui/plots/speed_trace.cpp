#include "gui/plots/speed_trace.hpp"

#include <algorithm>

namespace idlehark::gui {

namespace {

using Reading = SpeedTrace::Reading;

std::span<const Reading> within(std::span<const Reading> all, double from_s, double to_s) {
    const auto before = [](const Reading& r, double t) { return r.time_s < t; };
    const auto first = std::lower_bound(all.begin(), all.end(), from_s, before);
    const auto last = std::lower_bound(first, all.end(), to_s, before);
    return {first, last};
}

std::string whole(double v) {
    const auto n = std::lround(v);
    return n < 0 ? "−" + std::to_string(-n) : std::to_string(n);
}

std::string clock(double t) {
    const auto s = std::lround(std::max(t, 0.0));
    return std::to_string(s / 60) + (s % 60 < 10 ? ":0" : ":") + std::to_string(s % 60);
}

/// Words only from `free_from` on: before it stands the unit of the speed.
void draw_time_ticks(Canvas& canvas, const Axis& x, double top, double bottom, double free_from) {
    double step = 3600.0;
    const int most = std::max(2, static_cast<int>((x.to_px - x.from_px) / canvas.px(70.0)));
    for (const double s : {900.0, 300.0, 120.0, 60.0, 30.0, 20.0, 10.0, 5.0, 2.0, 1.0})
        if ((x.high - x.low) / s <= most) step = s;
    for (double k = std::ceil(std::max(x.low, 0.0) / step); k * step <= x.high; ++k) {
        const double px = x.at(k * step);
        canvas.line({px, top}, {px, bottom}, canvas.px(1.0), palette::kShade);
        const auto words = clock(k * step);
        const double half = canvas.width_of(words, Sizes::kSmallText) / 2.0;
        if (px - half < free_from) continue;
        if (px + half > x.to_px + canvas.px(8.0)) break;
        canvas.text({px, bottom + canvas.px(14.0)}, words,
                    {.size = Sizes::kSmallText, .colour = palette::kFaintInk, .align = Align::middle});
    }
}

void draw_lost(Canvas& canvas, const SpeedTrace& trace, const Axis& x, const Box& plot) {
    const auto mark = [&](double from_s, double to_s, Rgb colour) {
        const double a = std::max(plot.x, x.at(from_s));
        const double b = std::min(plot.right(), x.at(to_s));
        if (b - a < 1.0) return;
        canvas.box({a, plot.y, b - a, plot.h}, colour);
        const auto& word = trace.lost_word;
        if (!word.empty() && canvas.width_of(word, Sizes::kSmallText) < b - a - canvas.px(6.0))
            canvas.text_middle({(a + b) / 2.0, plot.bottom() - canvas.px(12.0)}, word,
                               {.size = Sizes::kSmallText, .align = Align::middle});
    };
    for (const auto& g : trace.gaps) mark(g.from_s, g.to_s, palette::kLost);
    // Stretches without lock.
    const auto shown = within(trace.readings, trace.from_s, trace.to_s);
    constexpr double kShort_s = 0.25;
    for (std::size_t i = 0; i < shown.size();) {
        if (std::isfinite(shown[i].rpm)) {
            ++i;
            continue;
        }
        std::size_t k = i;
        while (k < shown.size() && !std::isfinite(shown[k].rpm)) ++k;
        const double end_s = k < shown.size() ? shown[k].time_s : shown.back().time_s;
        if (end_s - shown[i].time_s > kShort_s) mark(shown[i].time_s, end_s, palette::kShade);
        i = k;
    }
}

void draw_bursts(Canvas& canvas, const SpeedTrace& trace, const Axis& x, const Box& plot) {
    double free_from = plot.x;
    constexpr double kUsual_s = 1.0;
    for (const auto& b : trace.bursts) {
        const double left = x.at(b.time_s);
        const double right = x.at(b.time_s + (std::isfinite(b.duration_s) ? b.duration_s : kUsual_s));
        if (right < plot.x || left > plot.right()) continue;
        const double from = std::max(left, plot.x);
        canvas.box({from, plot.y, std::max(canvas.px(3.0), std::min(right, plot.right()) - from), plot.h},
                   palette::kShadowed, 0.45);
        canvas.line({from, plot.y}, {from, plot.bottom()}, canvas.px(1.5), palette::kInk);
        const double w = canvas.width_of(b.spot, Sizes::kText, true) + canvas.px(10.0);
        const Box plate{std::min(from, plot.right() - w), plot.y, w, canvas.px(20.0)};
        if (plate.x < free_from) continue;  // the one before covers it
        free_from = plate.right() + canvas.px(2.0);
        canvas.round_box(plate, canvas.px(3.0), palette::kInk);
        canvas.text_middle(plate.middle(), b.spot, {.bold = true, .colour = palette::kOnOpen, .align = Align::middle});
    }
}

void draw_line(Canvas& canvas, std::span<const Reading> readings, const Axis& x, const Axis& y) {
    const auto at = [&](double rpm) { return std::clamp(y.at(rpm), y.to_px, y.from_px); };
    for (std::size_t i = 0; i < readings.size();) {
        std::vector<double> xs;
        std::vector<double> lows;
        std::vector<double> highs;
        std::vector<Point> line;
        for (; i < readings.size() && std::isfinite(readings[i].rpm); ++i) {
            const auto& r = readings[i];
            line.push_back({x.at(r.time_s), at(r.rpm)});
            xs.push_back(line.back().x);
            lows.push_back(at(std::isfinite(r.low) ? r.low : r.rpm));
            highs.push_back(at(std::isfinite(r.high) ? r.high : r.rpm));
        }
        canvas.strip(xs, lows, highs, palette::kTraceBand);
        canvas.polyline(line, canvas.px(2.0), palette::kTrace);
        while (i < readings.size() && !std::isfinite(readings[i].rpm)) ++i;
    }
}

}  // namespace

Axis speed_axis(const SpeedTrace& trace, double bottom_px, double top_px) {
    constexpr double kLeast_rpm = 30.0;
    constexpr double kStray = 0.01;  // share left out at each end
    std::vector<double> values;
    for (const auto& r : within(trace.readings, trace.from_s, trace.to_s)) {
        if (!std::isfinite(r.rpm)) continue;
        values.push_back(std::isfinite(r.low) ? r.low : r.rpm);
        values.push_back(std::isfinite(r.high) ? r.high : r.rpm);
    }
    if (values.empty()) return roomy_axis(700.0, 900.0, kLeast_rpm, bottom_px, top_px);
    std::sort(values.begin(), values.end());
    const auto stray = static_cast<std::size_t>(kStray * static_cast<double>(values.size()));
    double low = values[stray];
    double high = values[values.size() - 1 - stray];
    if (std::isfinite(trace.usual_rpm)) {
        low = std::min(low, trace.usual_rpm);
        high = std::max(high, trace.usual_rpm);
    }
    return roomy_axis(low, high, kLeast_rpm, bottom_px, top_px);
}

std::vector<Reading> thinned(std::span<const Reading> readings, double from_s, double to_s, double width_px) {
    const auto shown = within(readings, from_s, to_s);
    if (static_cast<double>(shown.size()) <= 2.0 * width_px || width_px < 1.0) return {shown.begin(), shown.end()};
    std::vector<Reading> out;
    const auto column = [&](const Reading& r) {
        return static_cast<long>((r.time_s - from_s) / (to_s - from_s) * width_px);
    };
    for (std::size_t i = 0; i < shown.size();) {
        const bool heard = std::isfinite(shown[i].rpm);
        std::size_t k = i;
        std::size_t low = i;
        std::size_t high = i;
        for (; k < shown.size() && column(shown[k]) == column(shown[i]) && std::isfinite(shown[k].rpm) == heard; ++k) {
            if (shown[k].rpm < shown[low].rpm) low = k;
            if (shown[k].rpm > shown[high].rpm) high = k;
        }
        std::size_t last = shown.size();  // none yet
        for (const auto index : {i, std::min(low, high), std::max(low, high), k - 1})
            if (index != last) out.push_back(shown[last = index]);
        i = k;
    }
    return out;
}

void draw_speed_trace(Canvas& canvas, const Box& on, const SpeedTrace& trace) {
    canvas.box(on, palette::kPanel);
    const bool tall = on.h > canvas.px(90.0);
    const double left = canvas.px(52.0);
    const Box plot{on.x + left, on.y + canvas.px(4.0), std::max(1.0, on.w - left - canvas.px(8.0)),
                   std::max(1.0, on.h - canvas.px(tall ? 26.0 : 8.0))};
    const Axis x{trace.from_s, trace.to_s, plot.x, plot.right()};
    const auto y = speed_axis(trace, plot.bottom(), plot.y + canvas.px(22.0));
    draw_lost(canvas, trace, x, plot);
    const auto shown = thinned(trace.readings, trace.from_s, trace.to_s, plot.w);
    const bool any = std::any_of(shown.begin(), shown.end(), [](const Reading& r) { return std::isfinite(r.rpm); });
    const double unit_x = on.x + canvas.px(4.0);
    const double unit_w = any ? canvas.width_of(trace.rpm_word, Sizes::kSmallText) + canvas.px(4.0) : 0.0;
    if (tall) draw_time_ticks(canvas, x, plot.y, plot.bottom(), unit_x + unit_w);
    if (any) {
        for (const double v : y.ticks(std::max(3, static_cast<int>(plot.h / canvas.px(26.0))))) {
            canvas.line({plot.x, y.at(v)}, {plot.right(), y.at(v)}, canvas.px(1.0), palette::kRule);
            canvas.text_middle({plot.x - canvas.px(6.0), y.at(v)}, whole(v),
                               {.size = Sizes::kSmallText, .align = Align::right});
        }
        if (std::isfinite(trace.usual_rpm))
            canvas.dashes({plot.x, y.at(trace.usual_rpm)}, {plot.right(), y.at(trace.usual_rpm)}, canvas.px(1.5),
                          canvas.px(6.0), palette::kFaintInk);
    }
    draw_bursts(canvas, trace, x, plot);
    draw_line(canvas, shown, x, y);
    if (!any)
        canvas.text_middle(plot.middle(), canvas.fitted(trace.empty_word, plot.w, Sizes::kText),
                           {.colour = palette::kFaintInk, .align = Align::middle});
    else if (!shown.empty() && std::isfinite(shown.back().rpm))
        canvas.disc({x.at(shown.back().time_s), std::clamp(y.at(shown.back().rpm), y.to_px, y.from_px)}, canvas.px(4.5),
                    palette::kTrace);
    if (any && tall)
        canvas.text({unit_x, plot.bottom() + canvas.px(14.0)}, trace.rpm_word,
                    {.size = Sizes::kSmallText, .colour = palette::kFaintInk});
    canvas.flush();
}

}  // namespace idlehark::gui
