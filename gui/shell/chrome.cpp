#include "gui/shell/chrome.hpp"

#include "gui/flow/sentence.hpp"
#include "gui/look/palette.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <fmt/format.h>

namespace idlehark::gui {

namespace {

namespace p = palette;

/// The largest of these sizes at which the words fit into the box; at the smallest what is too long ends in dots.
void fit_text(Canvas& canvas, const Box& box, const std::string& words, Rgb colour) {
    constexpr double kLine = 1.22;
    constexpr std::array kSizes{34.0, 30.0, 26.0, 22.0, 19.0, 16.0, 13.0};
    for (const double size : kSizes) {
        const double line = kLine * canvas.px(size);
        const auto most = static_cast<std::size_t>(std::max(1.0, std::floor(box.h / line)));
        const bool smallest = size == kSizes.back();
        const auto lines = canvas.wrapped(words, box.w, size, true, smallest ? most : most + 1);
        if (lines.size() > most) continue;
        double y = box.y + 0.5 * (box.h - line * static_cast<double>(lines.size())) + 0.5 * line;
        for (const auto& l : lines) {
            canvas.text_middle({box.x, y}, l, {.size = size, .bold = true, .colour = colour});
            y += line;
        }
        return;
    }
}

void draw_say(Canvas& canvas, const ChromeLook& look) {
    const Box box = box_of(look.layout.say);
    const bool act = prompts_spray(look.view);
    canvas.box(box, act ? p::kAction : p::kInk);
    // The prompt to act is told by its bar too, not by colour alone.
    if (act) canvas.box({box.x, box.y, canvas.px(14), box.h}, p::kOnAction);
    fit_text(canvas, {box.x + canvas.px(26), box.y + 0.06 * box.h, box.w - canvas.px(40), 0.88 * box.h}, look.sentence,
             p::kOnAction);
}

void draw_stop(Canvas& canvas, const ChromeLook& look) {
    const Box box = box_of(look.layout.stop);
    canvas.box(box, p::kStop);
    // A filled square: the shape of standing still.
    const double side = std::min(0.34 * box.h, canvas.px(28));
    const double big = std::min(30.0, 0.36 * box.h / canvas.px(1.0));
    const double words = canvas.width_of(look.say(Word::stop), big, true);
    const double x = box.x + 0.5 * (box.w - side - canvas.px(10) - words);
    const double y = box.y + 0.44 * box.h;
    canvas.box({x, y - 0.5 * side, side, side}, p::kOnStop);
    canvas.text_middle({x + side + canvas.px(10), y}, look.say(Word::stop),
                       {.size = big, .bold = true, .colour = p::kOnStop});
    canvas.text_middle({box.x + 0.5 * box.w, box.bottom() - 0.15 * box.h}, look.say(Word::stop_key),
                       {.size = 13.0, .bold = false, .colour = p::kOnStop, .align = Align::middle});
}

void draw_rail(Canvas& canvas, const ChromeLook& look) {
    const auto& l = look.layout;
    const bool standing = l.rail.h > l.rail.w;
    canvas.box(box_of(l.rail), p::kShade);
    for (std::size_t i = 0; i < kStages; ++i) {
        const auto stage = static_cast<Stage>(i);
        const Box box = box_of(l.stations[i]);
        const bool here = stage == look.looking_at;
        const bool under = l.stations[i].holds(look.mouse_x, look.mouse_y);
        if (here)
            canvas.box(box, p::kPanel);
        else if (under)
            canvas.box(box, p::kRule);
        if (here)
            canvas.box(standing ? Box{box.x, box.y, canvas.px(6), box.h} : Box{box.x, box.y, box.w, canvas.px(5)},
                       p::kInk);
        const double size = standing ? 18.0 : 16.0;
        const auto number = std::to_string(i + 1);
        if (l.station_names) {
            canvas.text_middle({box.x + canvas.px(34), box.y + 0.5 * box.h}, number,
                               {.size = size, .bold = true, .colour = p::kFaintInk, .align = Align::right});
            canvas.text_middle({box.x + canvas.px(44), box.y + 0.5 * box.h}, look.say(name_of(stage)),
                               {.size = 15.0, .bold = here, .colour = p::kInk});
        } else {
            canvas.text_middle({box.x + (standing ? 0.36 : 0.5) * box.w, box.y + 0.5 * box.h}, number,
                               {.size = size, .bold = here, .colour = p::kInk, .align = Align::middle});
        }
        // The spray page wears a bar across while the gate is shut.
        if (stage == Stage::spray && !look.view.gate.open) {
            const double w = std::min(canvas.px(12), 0.2 * box.w);
            const Point m{box.right() - 0.9 * w, box.y + (standing ? 0.5 * box.h : 0.9 * w)};
            canvas.disc(m, 0.7 * w, p::kStop);
            canvas.box({m.x - 0.45 * w, m.y - canvas.px(1.5), 0.9 * w, canvas.px(3)}, p::kOnStop);
        }
    }
    if (!l.flip.empty()) {
        const Box box = box_of(l.flip);
        canvas.box(box, p::kInk);
        const Word words = l.map.empty() ? Word::flip_to_map : Word::flip_to_page;
        canvas.text_middle({box.x + 0.5 * box.w, box.y + 0.5 * box.h},
                           canvas.fitted(look.say(words), box.w - canvas.px(8), 14.0, true),
                           {.size = 14.0, .bold = true, .colour = p::kOnAction, .align = Align::middle});
    }
}

void draw_speed(Canvas& canvas, const ChromeLook& look) {
    const Box box = box_of(look.layout.speed);
    const auto& s = look.view.sound;
    canvas.box(box, p::kPanel);
    const double unit = box.h / canvas.px(1.0) / 118.0;  // 1 where the band has its full height
    const double left = box.x + canvas.px(18);
    if (!s.locked || std::isnan(s.rpm)) {
        canvas.text_middle({left, box.y + 0.42 * box.h}, "– – –",
                           {.size = 52.0 * unit, .bold = true, .colour = p::kFaintInk});
        canvas.text_middle({left, box.y + 0.82 * box.h}, look.say(Word::no_speed),
                           {.size = std::max(12.0, 16.0 * unit), .bold = false, .colour = p::kInk});
        return;
    }
    const auto number = fmt::format("{:.0f}", s.rpm);
    canvas.text_middle({left, box.y + 0.42 * box.h}, number, {.size = 64.0 * unit, .bold = true, .colour = p::kInk});
    canvas.text_middle({left + canvas.width_of(number, 64.0 * unit, true) + canvas.px(10), box.y + 0.54 * box.h},
                       look.say(Word::rpm), {.size = 20.0 * unit, .bold = false, .colour = p::kInk});
    canvas.text_middle({left, box.y + 0.84 * box.h},
                       fmt::format("± {:.1f}   {}", 0.5 * (s.rpm_high - s.rpm_low), look.say(Word::locked)),
                       {.size = std::max(12.0, 17.0 * unit), .bold = true, .colour = p::kInk});
}

void draw_lamps(Canvas& canvas, const ChromeLook& look) {
    const Box box = box_of(look.layout.lamps);
    const auto& s = look.view.sound;
    canvas.box(box, p::kPanel);
    const double row = box.h / 4.0;
    const double size = std::clamp(0.5 * row / canvas.px(1.0), 10.0, 15.0);
    const double left = box.x + canvas.px(12);
    const double width = box.w - canvas.px(24);
    const auto line = [&](int i, const std::string& words, bool bold, Rgb colour) {
        canvas.text_middle({left, box.y + (i + 0.5) * row}, canvas.fitted(words, width, size, bold),
                           {.size = size, .bold = bold, .colour = colour});
    };
    static constexpr std::array<Word, 5> kModes{Word::mode_none, Word::mode_live, Word::mode_replay,
                                                Word::mode_practice, Word::mode_kept};
    line(0, look.say(kModes[static_cast<std::size_t>(s.mode)]), true, p::kInk);
    // Level: a row of notches from -60 dBFS up, with a word where it is too much.
    const double notch_y = box.y + 1.25 * row;
    constexpr int kNotches = 12;
    const int lit = static_cast<int>(std::clamp((s.peak_dbfs + 60.0) / 5.0, 0.0, double{kNotches}));
    for (int i = 0; i < kNotches; ++i) {
        const double w = 0.66 * width / kNotches;
        const Box notch{left + i * w, notch_y, 0.75 * w, 0.5 * row};
        if (i < lit)
            canvas.box(notch, i >= kNotches - 1 ? p::kStop : p::kTrace);
        else
            canvas.frame(notch, canvas.px(1.2), p::kRule);
    }
    canvas.text_middle({left + 0.7 * width, box.y + 1.5 * row},
                       canvas.fitted(look.say(s.clipped ? Word::clipping : Word::level), 0.3 * width, size, s.clipped),
                       {.size = size, .bold = s.clipped, .colour = s.clipped ? p::kStop : p::kInk});
    const auto lost = s.gaps + (s.dropped_frames > 0 ? 1 : 0);
    line(2, lost == 0 ? std::string{look.say(Word::lost_none)} : look.say(Word::lost_some, lost), lost > 0,
         lost > 0 ? p::kStop : p::kInk);
    if (s.recording) {
        const auto total = static_cast<long>(s.recorded_s);
        const auto words = look.say(Word::recording, fmt::format("{}:{:02}", total / 60, total % 60));
        canvas.disc({left + 0.3 * row, box.y + 3.5 * row}, 0.26 * row, p::kStop);
        canvas.text_middle({left + 0.8 * row, box.y + 3.5 * row}, canvas.fitted(words, width - 0.8 * row, size, true),
                           {.size = size, .bold = true, .colour = p::kInk});
    } else {
        canvas.ring({left + 0.3 * row, box.y + 3.5 * row}, 0.24 * row, canvas.px(1.5), p::kFaintInk);
        canvas.text_middle({left + 0.8 * row, box.y + 3.5 * row},
                           canvas.fitted(look.say(Word::not_recording), width - 0.8 * row, size),
                           {.size = size, .bold = false, .colour = p::kInk});
    }
}

}  // namespace

void draw_chrome(Canvas& canvas, const ChromeLook& look) {
    draw_say(canvas, look);
    draw_stop(canvas, look);
    draw_rail(canvas, look);
    draw_speed(canvas, look);
    draw_lamps(canvas, look);
}

void draw_message(Canvas& canvas, const Layout& layout, const std::string& words) {
    constexpr double kLine = 20.0;
    const Box on = box_of(layout.trace);
    const double edge = canvas.px(8.0);
    const double line = canvas.px(kLine);
    const auto most = static_cast<std::size_t>(std::max(1.0, std::floor((on.h - 2.0 * edge) / line)));
    const auto lines = canvas.wrapped(words, on.w - 2.0 * edge, Sizes::kText, true, most);
    canvas.box({on.x, on.y, on.w, line * static_cast<double>(lines.size()) + 2.0 * edge}, p::kInk);
    double y = on.y + edge + 0.5 * line;
    for (const auto& l : lines) {
        canvas.text_middle({on.x + edge, y}, l, {.bold = true, .colour = p::kOnAction});
        y += line;
    }
    canvas.flush();
}

}  // namespace idlehark::gui
