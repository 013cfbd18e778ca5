#include "dsp/bursts/band_slots.hpp"
#include "dsp/bursts/hiss_finder.hpp"
#include "tests/hiss_scenes.hpp"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace hiss_scenes;
using Catch::Matchers::WithinAbs;

namespace {

const std::vector<Burst> kPlan{{6.0, 1.5}, {12.0, 0.5}, {13.5, 0.8}, {18.0, 3.5}, {25.0, 1.0}};
constexpr double kSeconds = 30.0;

std::vector<float> scene(double rate_hz, std::uint64_t seed, double level_db, const std::vector<Burst>& plan = kPlan) {
    return to_samples(with_hiss(engine_sound({.seconds = kSeconds, .rate_hz = rate_hz, .seed = seed}), rate_hz, plan,
                                level_db, seed));
}

bool same(const std::vector<HissBurst>& a, const std::vector<HissBurst>& b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const HissBurst& x, const HissBurst& y) {
        return x.time_s == y.time_s && x.duration_s == y.duration_s && x.level_db == y.level_db &&
               x.confidence == y.confidence;
    });
}

}  // namespace

TEST_CASE("HissFinder: finds every burst louder than the engine, onset within 0.1 s", "[dsp][bursts]") {
    const double rate_hz = GENERATE(48000.0, 44100.0, 16000.0);
    const std::uint64_t seed = GENERATE(301u, 302u, 303u);
    CAPTURE(rate_hz, seed);
    const auto found = find_hiss({rate_hz}, scene(rate_hz, seed, 6.0));
    REQUIRE(found.size() == kPlan.size());
    for (std::size_t k = 0; k < found.size(); ++k) {
        CHECK_THAT(found[k].time_s, WithinAbs(kPlan[k].time_s, 0.1));
        CHECK_THAT(found[k].duration_s, WithinAbs(kPlan[k].duration_s, 0.15));
        CHECK_THAT(found[k].level_db, WithinAbs(6.0, 3.0));  // the hand sways, the pressure sags, engines differ
        CHECK(found[k].confidence > 0.5);
        CHECK(found[k].confidence <= 1.0);
    }
}

TEST_CASE("HissFinder: the answer does not depend on the blocks, nor on the gain, nor on what was before reset",
          "[dsp][bursts]") {
    const auto x = scene(16000.0, 311, 3.0);
    const auto whole = find_hiss({16000.0}, x);
    REQUIRE(!whole.empty());
    HissFinder finder({16000.0});
    for (const std::size_t block : {std::size_t{1}, std::size_t{64}, std::size_t{4096}}) {
        finder.reset();
        for (std::size_t i = 0; i < x.size(); i += block)
            finder.process(AudioView(x).subspan(i, std::min(block, x.size() - i)));
        finder.process({});
        finder.finish();
        CHECK(same(finder.bursts(), whole));
    }
    auto quiet = x;
    for (float& v : quiet) v *= 0.125F;  // a power of two: not even the rounding changes
    const auto in_quiet = find_hiss({16000.0}, quiet);
    REQUIRE(in_quiet.size() == whole.size());
    for (std::size_t k = 0; k < whole.size(); ++k) CHECK(in_quiet[k].time_s == whole[k].time_s);
}

TEST_CASE("HissFinder: gives bursts out while the sound still runs", "[dsp][bursts]") {
    const auto x = scene(16000.0, 301, 6.0);
    HissFinder finder({16000.0});
    finder.process(AudioView(x).first(16000 * 20));  // up to 20 s: bursts that ended before 12.7 s are out
    CHECK(finder.bursts().size() >= 2);
}

TEST_CASE("HissFinder: stays silent without hiss", "[dsp][bursts]") {
    const auto what = GENERATE(Disturber::none, Disturber::speed_blips, Disturber::fan, Disturber::misfire,
                               Disturber::level_steps, Disturber::breaks);
    const std::uint64_t seed = GENERATE(321u, 322u);
    CAPTURE(kDisturberNames[static_cast<std::size_t>(what)], seed);
    CHECK(find_hiss({16000.0}, to_samples(disturbed(what, kSeconds, 16000.0, seed))).empty());
}

TEST_CASE("HissFinder: a hiss that stays on is no burst", "[dsp][bursts]") {
    CHECK(find_hiss({16000.0}, scene(16000.0, 331, 6.0, {{8.0, 60.0}})).empty());
    CHECK(find_hiss({16000.0}, scene(16000.0, 331, 6.0, {{8.0, 9.0}})).empty());
}

TEST_CASE("HissFinder: takes silence, short and broken input", "[dsp][bursts]") {
    CHECK(find_hiss({48000.0}, {}).empty());
    CHECK(find_hiss({48000.0}, std::vector<float>(100)).empty());
    CHECK(find_hiss({48000.0}, std::vector<float>(48000 * 8)).empty());
    auto x = scene(16000.0, 301, 6.0);
    const auto clean = find_hiss({16000.0}, x);
    x[16000 * 28] = std::numeric_limits<float>::quiet_NaN();
    x[16000 * 28 + 1] = std::numeric_limits<float>::infinity();
    CHECK(find_hiss({16000.0}, x).size() == clean.size());
    CHECK_THROWS_AS(HissFinder({7999.0}), std::invalid_argument);
    CHECK_THROWS_AS(HissFinder({192001.0}), std::invalid_argument);
    CHECK_THROWS_AS(HissFinder({std::numeric_limits<double>::quiet_NaN()}), std::invalid_argument);
}

TEST_CASE("BandSlots: a sine stands in its own band at its level, at every rate", "[dsp][bursts]") {
    const double rate_hz = GENERATE(8000.0, 11025.0, 16000.0, 44100.0, 48000.0, 96000.0, 192000.0);
    CAPTURE(rate_hz);
    std::vector<float> x(static_cast<std::size_t>(rate_hz));
    for (std::size_t i = 0; i < x.size(); ++i)
        x[i] = static_cast<float>(0.5 * std::sin(2.0 * std::numbers::pi * 2500.0 * static_cast<double>(i) / rate_hz));
    BandSlots front(rate_hz);
    int n = 0;
    front.process(x, [&](const BandSlot& s) {
        ++n;
        CHECK_FALSE(s.silent);
        // Power of the Hann window's main lobe over that of its centre bin: 1.5; padding to the transform's size adds
        // up to a few per cent.
        CHECK_THAT(static_cast<double>(s.level_db[BandSlot::kLow]), WithinAbs(-6.02 + 1.76, 0.5));
        CHECK(s.level_db[0] < -40.0F);
        CHECK(s.own[0] > 4.0F * s.neighbour[0]);
    });
    CHECK(n == 50);
    CHECK(front.upper_bands() == (rate_hz < 11000.0 ? 2u : rate_hz < 16000.0 ? 3u : rate_hz < 40000.0 ? 4u : 7u));
}
