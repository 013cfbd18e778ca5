#include "dsp/hiss/hiss_survey.hpp"

#include "tests/hiss_spots.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

constexpr double kRate_hz = 32000.0;

Engine four() {
    Engine e;
    e.cylinders = 4;
    e.idle_low_rpm = 700.0;
    e.idle_high_rpm = 950.0;
    return e;
}

SpotHiss hear(const test::ProbeSpot& spot, std::uint64_t seed, std::size_t block = 4096,
              const Engine& engine = four()) {
    const auto x = test::probe_sound(spot, engine, 909, seed, kRate_hz, 10.0);
    HissEar ear(engine, kRate_hz);
    for (std::size_t i = 0; i < x.size(); i += block)
        ear.process(AudioView(x).subspan(i, std::min(block, x.size() - i)));
    return ear.finish(track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, x));
}

/// Six ordinary spots, two of them recorded 6 dB louder, one place by place 1 dB apart.
std::vector<test::ProbeSpot> ordinary() {
    std::vector<test::ProbeSpot> spots(6);
    for (std::size_t i = 0; i < spots.size(); ++i) spots[i].place_db = 0.4 * static_cast<double>(i) - 1.0;
    spots[1].gain_db = spots[4].gain_db = 6.0;
    return spots;
}

std::vector<SpotSurvey> survey(const std::vector<test::ProbeSpot>& spots, bool declared = false) {
    std::vector<SpotHiss> heard;
    std::vector<double> gains;
    for (std::size_t i = 0; i < spots.size(); ++i) {
        heard.push_back(hear(spots[i], 7100 + 13 * i));
        gains.push_back(spots[i].gain_db);
    }
    return survey_hiss(heard, declared ? gains : std::vector<double>{});
}

/// A spot told outright: its level, how far that swells with the firing and once a cycle; four cylinders.
SpotHiss told(double level_db, double depth, double cycle_depth = 0.0) {
    constexpr std::size_t kFirings = 4;
    const double level = std::pow(10.0, 0.1 * level_db);
    const auto swell = [](double turns) { return std::cos(2.0 * std::numbers::pi * turns); };
    SpotHiss s;
    s.follows_known = true;
    s.bands.resize(3);
    for (auto& b : s.bands) {
        for (std::size_t k = 0; k < SpotHiss::kPlaces; ++k)
            b.whole[k] = level * (1.0 + depth * swell(static_cast<double>(k) / SpotHiss::kPlaces));
        for (std::size_t t = 0; t < SpotHiss::kTenths; ++t)
            for (std::size_t k = 0; k < SpotHiss::kPlaces; ++k)
                b.without[t][k] = b.whole[k] * (t % 2 == 0 ? 1.002 : 0.998);
        for (std::size_t k = 0; k < kFirings * SpotHiss::kPlaces; ++k)
            b.cycle.push_back(b.whole[k % SpotHiss::kPlaces] *
                              (1.0 + cycle_depth * swell(static_cast<double>(k) / (kFirings * SpotHiss::kPlaces))));
    }
    return s;
}

/// Sound spots: a third of them near the head, 3 to 6 dB up by clatter that swells, the rest a decibel apart.
std::vector<SpotHiss> sound_spots(std::mt19937_64& random, std::size_t spots) {
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    const double head_db = 3.0 + 3.0 * uniform(random);
    std::vector<SpotHiss> list;
    for (std::size_t i = 0; i < spots; ++i) {
        const bool head = i % 3 == 1;
        list.push_back(told((head ? head_db : 0.0) + normal(random),
                            head ? 0.6 + 0.2 * uniform(random) : 0.15 + 0.1 * uniform(random)));
    }
    return list;
}

std::vector<SpotSurvey> declared(const std::vector<SpotHiss>& spots) {
    return survey_hiss(spots, std::vector<double>(spots.size(), 0.0));
}

}  // namespace

TEST_CASE("Hiss survey: gains are taken out, nothing stands out of an even survey", "[dsp][hiss]") {
    for (const bool declared : {false, true}) {
        const auto s = survey(ordinary(), declared);
        for (std::size_t i = 0; i < s.size(); ++i) {
            CAPTURE(declared, i);
            CHECK(s[i].verdict != HissVerdict::stands_out);
            CHECK(s[i].verdict != HissVerdict::loud_steady);
            CHECK(std::fabs(s[i].level_db) < 3.0);
            CHECK(s[i].level_low_db < s[i].level_db);
            CHECK(s[i].level_db < s[i].level_high_db);
        }
        CHECK(s[1].gain_db - s[0].gain_db == Approx(6.0).margin(1.0));
    }
}

TEST_CASE("Hiss survey: a leak stands out, a fan and an injector close by do not", "[dsp][hiss]") {
    auto spots = ordinary();
    spots[2].leak_db = 8.0;
    spots[3].fan_db = 14.0;
    spots[5].injector_db = 14.0;
    const auto s = survey(spots, true);
    CHECK(s[2].verdict == HissVerdict::stands_out);
    CHECK(s[2].p_level < 0.05);
    CHECK(s[2].p_follow < 0.05);
    for (const std::size_t i : {0U, 1U, 3U, 4U, 5U}) {
        CAPTURE(i);
        CHECK(s[i].verdict != HissVerdict::stands_out);
    }
    CHECK(s[3].follow_db < s[2].follow_db);
    CHECK(s[3].depth < s[2].depth);
}

TEST_CASE("Hiss survey: a loud hiss that does not follow the firing is only loud", "[dsp][hiss]") {
    auto spots = ordinary();
    spots[2].leak_db = 14.0;
    spots[2].leak_depth = 0.0;
    const auto s = survey(spots, true);
    CHECK(s[2].verdict == HissVerdict::loud_steady);
}

TEST_CASE("Hiss survey: steady is said only where a swell is excluded, by firing and by cycle", "[dsp][hiss]") {
    // Sound spots swell by very different amounts, so that what follows at the loud one proves nothing.
    const auto others = [](SpotHiss loud) {
        std::vector<SpotHiss> list{std::move(loud)};
        for (const auto& [level_db, depth] :
             {std::pair{0.0, 0.04}, {0.6, 0.7}, {-0.7, 0.05}, {1.0, 0.75}, {-1.0, 0.03}, {0.3, 0.6}})
            list.push_back(told(level_db, depth));
        return list;
    };
    const auto pulsating = declared(others(told(11.0, 0.3)));
    CHECK(pulsating[0].p_level < 0.05);
    CHECK(pulsating[0].verdict != HissVerdict::loud_steady);
    const auto at_one_runner = declared(others(told(14.0, 0.01, 0.5)));
    CHECK(at_one_runner[0].verdict == HissVerdict::loud_open);
    CHECK(declared(others(told(14.0, 0.01)))[0].verdict == HissVerdict::loud_steady);
    auto ticking = told(14.0, 0.01);  // an injector's ticks, once a cycle, are no swell
    for (auto& b : ticking.bands)
        for (const std::size_t k : {5U, 7U}) b.cycle[k] *= 20.0;
    CHECK(declared(others(ticking))[0].verdict == HissVerdict::loud_steady);
    auto unfollowed = told(14.0, 0.01);
    unfollowed.follows_known = false;
    CHECK(declared(others(unfollowed))[0].verdict == HissVerdict::loud_open);
}

TEST_CASE("Hiss survey: very loud and hardly swelling does not stand out", "[dsp][hiss]") {
    std::mt19937_64 random(9);
    auto spots = sound_spots(random, 8);
    spots[0] = told(25.0, 0.08);  // what follows is far over the others', and yet a small share of what is there
    const auto s = declared(spots);
    CHECK(s[0].p_follow < 0.05);
    CHECK(s[0].verdict == HissVerdict::loud_steady);
}

TEST_CASE("Hiss survey: spots near a clattering head stand out of no survey", "[dsp][hiss]") {
    std::mt19937_64 random(4711);
    int wrong = 0;
    constexpr int kSurveys = 60;
    for (int t = 0; t < kSurveys; ++t) {
        const auto s = declared(sound_spots(random, 4 + static_cast<std::size_t>(t) % 6));
        wrong += std::any_of(s.begin(), s.end(), [](const auto& x) { return x.verdict == HissVerdict::stands_out; });
    }
    CHECK(wrong == 0);
}

TEST_CASE("Hiss survey: a leak that its neighbours hear as well is found", "[dsp][hiss]") {
    std::mt19937_64 random(815);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    constexpr int kSurveys = 40;
    int found = 0;
    double half_width_db = 0.0;
    for (int t = 0; t < kSurveys; ++t) {
        std::vector<SpotHiss> spots;
        for (int i = 0; i < 6 + t % 3; ++i) spots.push_back(told(1.5 * normal(random), 0.15 + 0.2 * uniform(random)));
        spots[3] = told(13.0, 0.4);
        spots[2] = told(6.0, 0.35);
        spots[4] = told(5.0, 0.4);
        const auto s = declared(spots);
        found += s[3].verdict == HissVerdict::stands_out;
        half_width_db += 0.5 * (s[3].level_high_db - s[3].level_low_db) / kSurveys;
        CHECK(s[3].least_db > 3.0);
    }
    CAPTURE(found, half_width_db);
    CHECK(found >= kSurveys * 3 / 4);
    CHECK(half_width_db < 9.0);
}

TEST_CASE("Hiss survey: a hiss follows the firings of an odd-firing engine as it does those of an even one",
          "[dsp][hiss]") {
    Engine twin;
    twin.cylinders = 2;
    twin.idle_low_rpm = 900.0;
    twin.idle_high_rpm = 1200.0;
    test::ProbeSpot leak;
    leak.leak_db = 10.0;
    for (const auto& angles : {std::vector<double>{}, std::vector<double>{0.0, 180.0}}) {
        twin.firing_angles_deg = angles;
        const auto heard = hear(leak, 71, 4096, twin);
        REQUIRE(heard.follows_known);
        const auto quiet = hear({}, 72, 4096, twin);
        const auto s = survey_hiss(std::vector<SpotHiss>{heard, quiet, quiet, quiet}, std::vector<double>(4, 0.0));
        CAPTURE(angles.size(), s[0].depth);
        CHECK(s[0].depth > 0.15);
    }
}

TEST_CASE("Hiss survey: fewer than four spots, no engine, silence and block lengths", "[dsp][hiss]") {
    auto spots = ordinary();
    spots[0].leak_db = 12.0;
    spots.resize(3);
    for (const auto& s : survey(spots)) CHECK(s.verdict == HissVerdict::undecided);

    const auto a = hear(spots[1], 5), b = hear(spots[1], 5, 997);
    REQUIRE(a.bands.size() == 3);
    for (std::size_t k = 0; k < a.bands.size(); ++k) CHECK(a.bands[k].whole == b.bands[k].whole);

    HissEar deaf(four(), kRate_hz);
    deaf.process(std::vector<float>(160000, 0.0F));
    const auto silent = deaf.finish({});
    CHECK_FALSE(silent.follows_known);
    for (const auto& s : survey_hiss(std::vector<SpotHiss>(5, silent), {})) {
        CHECK(s.verdict == HissVerdict::undecided);
        CHECK(std::isnan(s.level_db));  // not 0: nothing is known
        CHECK(std::isnan(s.follow_high_db));
        CHECK(std::isnan(s.depth));
    }
    CHECK(survey_hiss({}, {}).empty());
    CHECK_THROWS_AS(survey_hiss(std::vector<SpotHiss>(5, silent), std::vector<double>{1.0}), std::invalid_argument);
    CHECK_THROWS_AS(HissEar(four(), 1000.0), std::invalid_argument);
}
