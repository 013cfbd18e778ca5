#include "dsp/leak_flow.hpp"
#include "dsp/sim/session.hpp"

#include <cmath>
#include <map>
#include <set>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace idlehark::sim;

TEST_CASE("leak flow: critical ratio and choked flow have their published values", "[dsp][sim]") {
    // NACA Report 1135, table at Mach 1 (gamma 1.4); the other ratios by the same formula, as printed in gas tables.
    CHECK(critical_pressure_ratio() == Approx(0.528282).margin(1e-6));
    CHECK(critical_pressure_ratio(1.3) == Approx(0.5457).margin(5e-5));
    CHECK(critical_pressure_ratio(5.0 / 3.0) == Approx(0.4871).margin(5e-5));
    // Air, SI: 0.040415 Cd A p0 / sqrt(T0).
    CHECK(choked_mass_flow_kg_per_s(1.0, 1.0, {1.0, 1.0}) == Approx(0.040415).margin(1e-6));
    const auto g_per_s = [](double mm, double cd) {
        return 1000.0 * hole_mass_flow_kg_per_s(hole_area_m2(mm), cd, 35e3);
    };
    CHECK(g_per_s(1.0, 1.0) == Approx(0.1878).margin(1e-4));
    CHECK(g_per_s(2.0, 1.0) == Approx(0.7514).margin(1e-4));
    CHECK(g_per_s(3.0, 0.6) == Approx(1.0144).margin(1e-4));
}

TEST_CASE("leak flow: constant when choked, falling to nothing at equal pressure, continuous between", "[dsp][sim]") {
    const double area = hole_area_m2(2.0);
    const double choked = choked_mass_flow_kg_per_s(area, 0.6);
    CHECK(hole_mass_flow_kg_per_s(area, 0.6, 0.0) == Approx(choked));
    CHECK(hole_mass_flow_kg_per_s(area, 0.6, 0.5282 * 101325.0) == Approx(choked));
    CHECK(hole_mass_flow_kg_per_s(area, 0.6, 101325.0) == 0.0);
    CHECK(hole_mass_flow_kg_per_s(area, 0.6, 110000.0) == 0.0);
    double last = choked;
    for (double p = 54e3; p <= 101e3; p += 1e3) {
        const double m = hole_mass_flow_kg_per_s(area, 0.6, p);
        REQUIRE(m < last);
        last = m;
    }
    CHECK(leak_rpm_from_hole(2.0) == Approx(4.0 * leak_rpm_from_hole(1.0)));
}

TEST_CASE("draw_bay: as many spots as asked, apart from each other, on the bay", "[dsp][sim]") {
    Engine engine;
    engine.cylinders = GENERATE(3, 4, 8);
    const int spots = GENERATE(12, 20, 30);
    const auto bay = draw_bay(engine, spots, GENERATE(1u, 2u));
    REQUIRE(bay.size() == static_cast<std::size_t>(spots));
    std::set<std::string> ids, names;
    int close = 0;
    for (const auto& a : bay) {
        ids.insert(a.id);
        names.insert(a.name);
        CHECK(a.x_mm > 0.0);
        CHECK(a.y_mm > 0.0);
        if (a.cylinder) CHECK(*a.cylinder <= engine.cylinders);
        for (const auto& b : bay) close += &a != &b && std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) < 39.0;
    }
    CHECK(ids.size() == bay.size());
    CHECK(names.size() == bay.size());
    CHECK(close == 0);
}

TEST_CASE("plain_session: visits every spot once per block, marks where bursts are", "[dsp][sim]") {
    const std::uint64_t seed = GENERATE(1u, 2u, 3u);
    const auto spec = plain_session(seed, {10.0, -8.0}, 14);
    const Session session(spec);
    REQUIRE(session.marks().size() == 14 * 3);
    for (std::size_t block = 0; block < 3; ++block) {
        std::set<std::size_t> visited;
        for (std::size_t i = 0; i < 14; ++i) visited.insert(session.marks()[block * 14 + i].spot);
        CHECK(visited.size() == 14);
    }
    for (std::size_t i = 0; i < session.marks().size(); ++i) {
        CHECK(session.marks()[i].time_s == session.bursts()[i].time_s);
        CHECK(session.bursts()[i].amount == 1.0);
    }
    CHECK(session.marks()[0].time_s >= 20.0);
    CHECK(session.marks()[1].time_s - session.marks()[0].time_s == Approx(14.0));
    std::map<double, int> leaks;
    for (const double v : spec.leak_rpm) ++leaks[v];
    CHECK(leaks[10.0] == 1);
    CHECK(leaks[-8.0] == 1);
    CHECK(leaks[0.0] == 12);
    CHECK(spec.engine.engine.cylinders >= 3);
    CHECK(session.duration_s() < 14 * 3 * 14.0 + 30.0 + 15.1);
}

TEST_CASE("Session: the path answers a burst by the leak of its spot and of its neighbours", "[dsp][sim]") {
    auto spec = plain_session(4, {20.0});
    auto calm = SpeedPathSpec{};
    calm.mean_rpm = 800.0;
    spec.idle = calm;
    spec.hands = {};
    spec.hands.duration_spread = 0.0;
    spec.hands.overspray_share = 0.3;
    spec.spacing_s = 60.0;  // the answers have died away
    const Session session(spec);
    std::size_t leak = 0;
    while (spec.leak_rpm[leak] == 0.0) ++leak;
    int neighbours = 0;
    for (const auto& b : session.bursts()) {
        const auto& s = spec.spots[b.spot];
        const bool near = std::hypot(s.x_mm - spec.spots[leak].x_mm, s.y_mm - spec.spots[leak].y_mm) <= 60.0;
        const double expected = b.spot == leak ? 20.0 : near ? 6.0 : 0.0;
        neighbours += near && b.spot != leak;
        const double peak_s = b.time_s + spec.shape.delay_s + b.duration_s;
        CHECK(session.path().rpm_at(peak_s) - 800.0 == Approx(expected).margin(0.02));
    }
    INFO("neighbour bursts " << neighbours);
    CHECK(session.path().rpm_at(5.0) == 800.0);
}

TEST_CASE("disturbed_session: hands, loads and steps are as bad as stated", "[dsp][sim]") {
    double square = 0.0, amount = 0.0, amount_square = 0.0;
    int missed = 0, bursts = 0, hit = 0;
    for (std::uint64_t seed = 100; seed < 130; ++seed) {
        const Session session(disturbed_session(seed, {15.0}));
        CHECK_FALSE(session.spec().idle.loads.empty());
        for (std::size_t i = 0; i < session.marks().size(); ++i) {
            const double off = session.marks()[i].time_s - session.bursts()[i].time_s;
            square += off * off;
            ++bursts;
            const double a = session.bursts()[i].amount;
            missed += a == 0.0;
            if (a > 0.0) {
                ++hit;
                amount += a;
                amount_square += a * a;
            }
        }
    }
    CHECK(std::sqrt(square / bursts) == Approx(0.4).margin(0.03));             // 1080: 2.2 % one sd
    CHECK(static_cast<double>(missed) / bursts == Approx(0.1).margin(0.035));  // one sd 0.009
    const double mean = amount / hit;
    CHECK(std::sqrt(amount_square / hit - mean * mean) == Approx(0.25).margin(0.02));  // one sd 0.0055
    CHECK(mean == Approx(1.0).margin(0.03));
}

TEST_CASE("Session: sound follows the path, hisses at the bursts, repeats with its seed", "[dsp][sim]") {
    auto spec = disturbed_session(GENERATE(41u, 42u), {15.0}, 12, 16000.0);
    spec.sound.hiss_level_db = 10.0;
    const Session session(spec);
    const auto sound = session.sound();
    const auto x = render_seconds(*sound, 50.0);
    CHECK(render_seconds(*session.sound(), 50.0) == x);
    const Band upper{3200.0, 7000.0};
    const auto level = [&](double t) {
        return band_rms(std::span(x).subspan(static_cast<std::size_t>(t * 16000.0), 12800), 16000.0, upper);
    };
    for (std::size_t i = 0; i < 2; ++i) {
        const double t = session.bursts()[i].time_s;
        CHECK(level(t + 0.05) > 2.0 * level(t - 1.0));
    }
}
