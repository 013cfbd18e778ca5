#include "dsp/track/order_rows.hpp"

#include "dsp/sim/engine_sound.hpp"

#include <cmath>
#include <limits>
#include <random>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

constexpr double kRate_hz = 16000.0;

OrderRowsConfig config_for(int cylinders) {
    OrderRowsConfig c;
    c.sample_rate_hz = kRate_hz;
    c.engine.cylinders = cylinders;
    return c;
}

std::vector<float> engine_sound(int cylinders, const sim::SpeedPath& path, double seconds, unsigned seed) {
    sim::EngineSoundSpec spec;
    spec.engine.cylinders = cylinders;
    spec.sample_rate_hz = kRate_hz;
    spec.seed = seed;
    spec.cylinder_colour = 0.0;  // cylinders alike: nothing but chance lies on the half orders between the teeth
    sim::EngineSound sound{spec, path};
    std::vector<float> x(static_cast<std::size_t>(seconds * kRate_hz));
    sound.render(x);
    return x;
}

std::vector<RpmReading> readings_at(double seconds, double (*rpm_at)(double)) {
    std::vector<RpmReading> list;
    for (double t = 0.0; t <= seconds; t += 0.1) list.push_back({t, rpm_at(t), rpm_at(t), rpm_at(t), true});
    return list;
}

/// Mean level on the firing's multiples from 2 on, and half-way between them.
std::pair<double, double> on_and_between(const std::vector<OrderRow>& rows, const OrderRowsConfig& c, int teeth = 12) {
    double on = 0.0;
    double between = 0.0;
    int n = 0;
    for (const auto& row : rows)
        for (int tooth = 2; tooth <= teeth; ++tooth) {
            const double per_tooth = static_cast<double>(c.columns) / c.highest_firings;
            const auto level = [&](double at) {  // the loudest of the two columns there
                const auto i = static_cast<std::size_t>(at * per_tooth);
                return static_cast<double>(std::max(row.level_db[i - 1], row.level_db[i]));
            };
            on += level(tooth);
            between += level(tooth + 0.5);
            ++n;
        }
    return {on / n, between / n};
}

}  // namespace

TEST_CASE("OrderRows: an engine's lines stand on the multiples of its firing order, also while it hunts",
          "[dsp][track]") {
    const int cylinders = GENERATE(3, 4, 6);
    const unsigned seed = GENERATE(11u, 12u);
    CAPTURE(cylinders, seed);
    sim::SpeedPathSpec steady;
    steady.mean_rpm = 800.0;
    sim::SpeedPathSpec surging = steady;
    surging.surge_rpm = 40.0;
    surging.surge_hz = 0.2;
    for (const auto& spec : {steady, surging}) {
        // 40 rpm at 0.2 Hz move the speed by 3 % within a window: a quarter of the teeth's spacing at the eighth.
        const int teeth = spec.surge_rpm > 0.0 ? 8 : 12;
        const sim::SpeedPath path{spec};
        std::vector<RpmReading> readings;
        for (double t = 0.0; t < 10.0; t += 0.1) {
            const double rpm = path.rpm_at(t);
            readings.push_back({t, rpm, rpm, rpm, true});
        }
        OrderRows orders{config_for(cylinders)};
        orders.process(engine_sound(cylinders, path, 10.0, seed));
        const auto rows = orders.rows(readings);
        REQUIRE(rows.size() >= 36);
        const auto [on, between] = on_and_between(rows, config_for(cylinders), teeth);
        CHECK(on > between + 6.0);
        // A wrong speed puts the lines elsewhere: the teeth are then no better than what lies between them.
        OrderRows wrong{config_for(cylinders)};
        wrong.process(engine_sound(cylinders, path, 10.0, seed));
        for (auto& r : readings) r.rpm *= 1.13;
        const auto [off, aside] = on_and_between(wrong.rows(readings), config_for(cylinders), teeth);
        CHECK(off < aside + 2.0);
    }
}

TEST_CASE("OrderRows: noise has no comb, silence and no lock have no numbers", "[dsp][track]") {
    std::mt19937 random{5};
    std::normal_distribution<float> noise{0.0F, 0.1F};
    std::vector<float> x(static_cast<std::size_t>(20.0 * kRate_hz));
    for (auto& v : x) v = noise(random);
    const auto c = config_for(4);
    OrderRows orders{c};
    orders.process(x);
    const auto rows = orders.rows(readings_at(20.0, [](double) { return 800.0; }));
    const auto [on, between] = on_and_between(rows, c);
    CHECK(std::abs(on - between) < 1.0);

    OrderRows silent{c};
    silent.process(std::vector<float>(32000, 0.0F));
    for (const auto& row : silent.rows(readings_at(2.0, [](double) { return 800.0; })))
        for (const float v : row.level_db) CHECK(std::isnan(v));
    OrderRows lost{c};
    lost.process(std::span{x}.first(32000));
    auto unlocked = readings_at(2.0, [](double) { return 800.0; });
    for (auto& r : unlocked) r.locked = false;
    const auto none = lost.rows(unlocked);
    CHECK_FALSE(none.empty());
    for (const auto& row : none) {
        CHECK(std::isnan(row.rpm));
        CHECK(std::isnan(row.level_db[100]));
    }
}

TEST_CASE("OrderRows: block length changes nothing, and reset() is a fresh start", "[dsp][track]") {
    const sim::SpeedPath path{sim::SpeedPathSpec{}};
    auto x = engine_sound(4, path, 5.0, 3);
    x[40000] = std::numeric_limits<float>::quiet_NaN();
    const auto readings = readings_at(5.0, [](double) { return 800.0; });
    OrderRows whole{config_for(4)};
    whole.process(x);
    const auto expected = whole.rows(readings);
    REQUIRE(expected.size() > 10);
    const auto same = [&](const std::vector<OrderRow>& got) {
        REQUIRE(got.size() == expected.size());
        for (std::size_t i = 0; i < got.size(); ++i) {
            CHECK(got[i].time_s == expected[i].time_s);
            for (std::size_t k = 0; k < got[i].level_db.size(); ++k)
                REQUIRE((got[i].level_db[k] == expected[i].level_db[k] ||
                         (std::isnan(got[i].level_db[k]) && std::isnan(expected[i].level_db[k]))));
        }
    };
    for (const std::size_t block : {std::size_t{1}, std::size_t{64}, std::size_t{4096}}) {
        OrderRows orders{config_for(4)};
        std::vector<OrderRow> got;
        std::size_t given = 0;
        for (std::size_t i = 0; i < x.size(); i += block) {
            orders.process(std::span{x}.subspan(i, std::min(block, x.size() - i)));
            // Readings come late and bit by bit, as from a tracker.
            const auto upto = static_cast<std::size_t>(std::max(0.0, static_cast<double>(i) / kRate_hz - 2.0) * 10.0);
            for (; given + 7 < upto; given += 7)
                for (auto& r : orders.rows(std::span{readings}.subspan(given, 7))) got.push_back(std::move(r));
        }
        for (auto& r : orders.rows(std::span{readings}.subspan(given))) got.push_back(std::move(r));
        same(got);
    }
    whole.reset();
    whole.process(x);
    same(whole.rows(readings));
}

TEST_CASE("OrderRows: names what it refuses", "[dsp][track]") {
    auto c = config_for(4);
    c.columns = 3;
    CHECK_THROWS_WITH(OrderRows{c}, Catch::Matchers::StartsWith("columns"));
    c = config_for(0);
    CHECK_THROWS_AS(OrderRows{c}, std::invalid_argument);
    c = config_for(4);
    c.sample_rate_hz = std::nan("");
    CHECK_THROWS_WITH(OrderRows{c}, Catch::Matchers::StartsWith("sample_rate_hz"));
    CHECK(OrderRows{config_for(4)}.firing_order() == Approx(2.0));
}
