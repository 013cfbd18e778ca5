#include "gui/plots/change_rows.hpp"
#include "gui/plots/click_fold.hpp"
#include "gui/plots/level_meter.hpp"
#include "gui/plots/order_fall.hpp"
#include "gui/plots/rows.hpp"
#include "gui/plots/speed_trace.hpp"
#include "gui/shell/chrome.hpp"
#include "tests/gui/screens.hpp"

#include <cmath>
#include <random>

using namespace idlehark::gui;

namespace {

/// A hunting idle that answers to two of five bursts; lock is lost for three seconds.
struct Idle {
    std::vector<SpeedTrace::Reading> readings;
    std::vector<SpeedTrace::Burst> bursts{{20.0, 0.9, "7"}, {35.0, 1.1, "12"}, {50.0, 1.0, "3"}, {65.0, 0.8, "11"}};
    std::vector<SpeedTrace::Gap> gaps{{83.0, 85.0}};
    Idle() {
        std::mt19937 random{5};
        std::normal_distribution<double> wander{0.0, 3.0};
        for (int i = 0; i < 900; ++i) {
            const double t = 0.1 * i;
            double rpm = 812.0 + 9.0 * std::sin(1.6 * t) + wander(random) * 0.6;
            for (const double at : {20.0, 50.0})
                if (t > at + 0.6) rpm += 28.0 * std::exp(-(t - at - 0.6) / 3.0);
            const double wide = 2.0 + std::abs(wander(random));
            if (t > 73.0 && t < 76.0)
                readings.push_back({t});
            else
                readings.push_back({t, rpm, rpm - wide, rpm + wide});
        }
    }
    [[nodiscard]] SpeedTrace trace() const {
        SpeedTrace s;
        s.readings = readings;
        s.bursts = bursts;
        s.gaps = gaps;
        s.to_s = 90.0;
        s.usual_rpm = 812.0;
        s.lost_word = "not heard";
        return s;
    }
};

}  // namespace

TEST_CASE("Speed trace: drawn wide, low and large", "[gui][plots][display]") {
    const Idle idle;
    struct Shape {
        unsigned w, h;
        double scale;
    };
    const auto at = GENERATE(values<Shape>({{1280, 240, 1.0}, {500, 90, 1.0}, {1920, 420, 2.0}, {1600, 500, 3.0}}));
    const auto trace = idle.trace();
    const auto image =
        screen("trace_" + std::to_string(at.w) + "x" + std::to_string(at.h), at.w, at.h, at.scale, [&](Canvas& c) {
            draw_speed_trace(c, {0, 0, double(at.w), double(at.h)}, trace);
        });
    const Box whole{0, 0, double(at.w), double(at.h)};
    CHECK(count_of(image, whole, palette::kTrace) > at.w / 2.0);      // a line all along
    CHECK(count_of(image, whole, palette::kTraceBand) > at.w / 2.0);  // and its interval
    CHECK(count_of(image, whole, palette::kLost) > 20);
    CHECK(count_of(image, whole, palette::kInk) > 200 * at.scale);  // plates of the bursts
    const auto empty = screen("trace_empty", at.w, at.h, at.scale, [&](Canvas& c) {
        SpeedTrace none;
        none.empty_word = "no speed could be followed yet";
        draw_speed_trace(c, whole, none);
    });
    CHECK(count_of(empty, whole, palette::kTrace) == 0);
    CHECK(count_of(empty, whole, palette::kFaintInk) > 30);
}

TEST_CASE("Lists, meters, clicks: drawn", "[gui][plots][display]") {
    const double scale = GENERATE(1.0, 2.0);
    const double w = 900.0 * scale;
    const double h = 760.0 * scale;
    const std::vector<ResultRow> spray{
        {"3", "runner gasket, cylinder 3", 24, 15, 33, "+24 rpm", Finding::fault, "leak", 3},
        {"4", "runner gasket, cylinder 4", 9, 2, 16, "+9 rpm", Finding::shadowed, "overspray", 3},
        {"12", "plenum gasket, rear end", -41, -52, -30, "−41 rpm", Finding::fault, "leak", 3},
        {"10", "throttle shaft", 4, -14, 22, "+4 rpm", Finding::open, "undecided", 1},
        {"7", "injector seal, cylinder 3", 0, -5, 6, "0 rpm", Finding::clear, "none seen", 4}};
    const std::vector<ResultRow> hiss{
        {"9", "throttle gasket", 11.2, 9.0, 13.0, "+11 dB", Finding::fault, "stands out"},
        {"2", "runner gasket, cylinder 2", 5, 3.1, 6.8, "+5 dB", Finding::shadowed, "loud, steady"},
        {"5", "injector seal, cylinder 1", 0.4, -0.9, 1.7, "0 dB", Finding::clear, "ordinary"}};
    const std::vector<ResultRow> balance{
        {"1", "first in the firing order", 1.0, 0.9, 1.1, "100 %", Finding::clear, "even"},
        {"3", "", 1.05, 0.95, 1.15, "105 %", Finding::clear, "even"},
        {"4", "", 0.42, 0.35, 0.5, "42 %", Finding::fault, "weak"},
        {"2", "", 0.97, 0.7, 1.25, "97 %", Finding::open, "undecided"}};
    std::vector<double> fold;
    for (int i = 0; i < 320; ++i) {
        const double t = -6.0 + 0.05 * i;
        fold.push_back(1.0 + 40.0 * std::exp(-std::pow(t / 0.3, 2)) + 14.0 * std::exp(-std::pow((t - 2.8) / 0.3, 2)));
    }
    std::vector<ClickFold> folds(4);
    for (int i = 0; i < 4; ++i) {
        auto& f = folds[static_cast<std::size_t>(i)];
        f.id = std::to_string(i + 1);
        f.from_ms = -6.0;
        f.step_ms = 0.05;
        f.finding = i == 2 ? Finding::fault : Finding::clear;
        f.verdict = i == 2 ? "silent" : "regular";
        if (i == 2) continue;
        f.power = fold;
        f.open_ms = 0.0;
        f.close_ms = 2.8;
        f.figure = "6.7 per second, 0 % missed";
    }
    std::size_t rows = 0;
    const auto image =
        screen("plots_" + std::to_string(int(100 * scale)), unsigned(w), unsigned(h), scale, [&](Canvas& c) {
            const double left = 16.0 * scale;
            const double width = w - 2.0 * left;
            double y = 12.0 * scale;
            for (const auto& [peak, word, clipped] :
                 {std::tuple{-52.0, "too quiet", false}, {-14.0, "good", false}, {-0.5, "too loud", true}}) {
                draw_level_meter(c, {left, y, width * 0.5, 34.0 * scale},
                                 {.peak_dbfs = peak, .held_dbfs = peak + 4.0, .clipped = clipped, .word = word});
                y += 38.0 * scale;
            }
            rows =
                draw_rows(c, {left, y, width, 5 * kRowHeight * scale}, spray, {.low = -40, .high = 40, .matters = 15});
            y += 5 * kRowHeight * scale + left;
            draw_rows(c, {left, y, width, 3 * kRowHeight * scale}, hiss, {.bars = true, .low = -3, .high = 15});
            y += 3 * kRowHeight * scale + left;
            draw_rows(c, {left, y, width, 4 * kRowHeight * scale}, balance,
                      {.bars = true, .usual = 1.0, .low = 0, .high = 1.4});
            y += 4 * kRowHeight * scale + left;
            draw_click_folds(c, {left, y, width, h - y - left}, folds);
        });
    CHECK(rows == 5);
    CHECK(count_of(image, {0, 0, w, h}, palette::kFault) > 2000 * scale);
}

TEST_CASE("Order fall: a comb's lines stand under its teeth, the newest row below", "[gui][plots][display]") {
    constexpr std::size_t kOrders = 400;
    constexpr double kHighest = 20.0;
    std::mt19937 random{9};
    std::normal_distribution<float> noise{0.0F, 2.0F};
    OrderFall fall{kOrders, kHighest, 120};
    for (int row = 0; row < 150; ++row) {
        std::vector<float> level(kOrders);
        for (std::size_t i = 0; i < kOrders; ++i) {
            const double order = kHighest * (double(i) + 0.5) / double(kOrders);
            const double to_tooth = std::abs(order / 2.0 - std::round(order / 2.0)) * 2.0;
            level[i] = 3.0F + noise(random) + (to_tooth < 0.06 && order > 1.0 ? 24.0F : 0.0F) +
                       (row > 100 && row < 130 && order > 7.0 && order < 7.4 ? 18.0F : 0.0F);  // a fan
        }
        fall.add(level);
    }
    const auto draw = [&](Canvas& c) { fall.draw(c, {10, 10, 980, 480}, 2.0, true); };
    const auto image = screen("order_fall", 1000, 500, 1.0, draw);
    // Beside the dashes of the tooth at order 4 it is dark, between teeth light.
    const double x4 = 10 + 980 * 4.0 / kHighest;
    double on_tooth = 0.0;
    double between = 0.0;
    for (double y = 60; y < 440; y += 3) {
        on_tooth += relative_luminance(colour_at(image, {x4 - 2.0, y}));
        between += relative_luminance(colour_at(image, {x4 + 49.0, y}));
    }
    CHECK(on_tooth < 0.3 * between);
}

TEST_CASE("Change rows: wide in one line, narrow in two, better and worse told by shape", "[gui][plots][display]") {
    const std::vector<ChangeRow> rows{{.figure = "spot 7",
                                       .name = "plenum gasket, rear",
                                       .before = "24.1",
                                       .after = "1.2",
                                       .unit = "rpm",
                                       .difference = -22.9,
                                       .low = -27.0,
                                       .high = -18.8,
                                       .difference_words = "-22.9 (-27.0..-18.8) rpm",
                                       .finding = Finding::clear,
                                       .verdict = "Better"},
                                      {.figure = "hunting",
                                       .before = "2.0",
                                       .after = "6.4",
                                       .unit = "rpm",
                                       .difference = 4.4,
                                       .low = 2.1,
                                       .high = 6.7,
                                       .difference_words = "+4.4 (+2.1..+6.7) rpm",
                                       .finding = Finding::fault,
                                       .verdict = "Worse"},
                                      {.figure = "half orders", .finding = Finding::open, .verdict = "not known"}};
    struct Shape {
        unsigned w;
        double scale;
    };
    const auto at = GENERATE(values<Shape>({{1100, 1.0}, {520, 1.0}, {1500, 2.0}, {700, 2.0}}));
    const double height = at.scale * change_rows_height(rows.size(), at.w / at.scale);
    CHECK(change_rows_height(rows.size(), 520.0) > change_rows_height(rows.size(), 1100.0));
    const auto h = static_cast<unsigned>(height);
    const auto image =
        screen("change_" + std::to_string(at.w) + "_" + std::to_string(at.scale), at.w, h, at.scale, [&](Canvas& c) {
            draw_change_rows(c, {0.0, 0.0, double(at.w), height}, rows,
                             {"before", "after", "less", "no change", "more"});
        });
    // Only the row that got worse is drawn in the colour of a fault.
    const double head = at.scale * change_rows_height(0, at.w / at.scale), row = (height - head) / 3.0;
    CHECK(count_of(image, {0.0, head + row, double(at.w), row}, palette::kFault) > 100);
    CHECK(count_of(image, {0.0, 0.0, double(at.w), head + row}, palette::kFault) == 0);
    CHECK(count_of(image, {0.0, head + 2.0 * row, double(at.w), row}, palette::kFault) == 0);
}

TEST_CASE("Speed trace: the clock's words keep clear of the unit, however wide it is", "[gui][plots][display]") {
    SpeedTrace trace;
    std::vector<SpeedTrace::Reading> readings;
    for (int i = 0; i < 600; ++i) readings.push_back({0.1 * i, 800.0, 798.0, 802.0});
    trace.readings = readings;
    trace.to_s = 60.0;
    trace.rpm_word = "1/min";
    const double scale = GENERATE(1.0, 1.5, 2.4);
    const auto image = screen("trace_unit_" + std::to_string(scale), static_cast<unsigned>(400.0 * scale),
                              static_cast<unsigned>(118.0 * scale), scale, [&](Canvas& c) {
                                  draw_speed_trace(c, {0, 0, 400.0 * scale, 118.0 * scale}, trace);
                              });
    // Between the unit and the first words of the clock a column is free.
    int free = 0;
    for (double x = 30.0 * scale; x < 80.0 * scale; ++x)
        free += count_of(image, {x, 98.0 * scale, 1.0, 19.0 * scale}, palette::kFaintInk) == 0 ? 1 : 0;
    CHECK(free > 15.0 * scale);
}

TEST_CASE("Messages: drawn over the trace alone, however long they are", "[gui][display]") {
    const bool small = GENERATE(true, false);
    const Size size = small ? Size{400.0F, 300.0F} : Size{1280.0F, 800.0F};
    const auto layout = lay_out(size, 1.0F, Stage::spray);
    const auto w = static_cast<unsigned>(size.w);
    const auto h = static_cast<unsigned>(size.h);
    const auto image = screen("message_" + std::to_string(w), w, h, 1.0, [&](Canvas& c) {
        draw_message(c, layout,
                     "Picture of the window: idlehark-001.png (a folder with a name that is long and longer)");
    });
    const Box trace = box_of(layout.trace);
    const int inside = count_of(image, trace, palette::kInk);
    CHECK(inside > 15.0 * trace.w);
    CHECK(count_of(image, {0, 0, double(w), double(h)}, palette::kInk) == inside);
    CHECK(count_of(image, trace, palette::kOnAction) > 100);
}
