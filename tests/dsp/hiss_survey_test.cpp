#include "dsp/hiss/hiss_survey.hpp"

#include "tests/hiss_spots.hpp"

#include <algorithm>
#include <cmath>

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
