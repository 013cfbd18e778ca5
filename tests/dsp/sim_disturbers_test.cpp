#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/filter.hpp"
#include "dsp/sim/microphone.hpp"

#include <cmath>
#include <functional>
#include <numbers>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace idlehark::sim;

namespace {

using Maker = std::function<std::unique_ptr<Source>(double, std::uint64_t)>;

const std::vector<std::pair<const char*, Maker>>& makers() {
    static const std::vector<std::pair<const char*, Maker>> all{
        {"white", [](double r, std::uint64_t s) { return make_source(NoiseSpec{NoiseColour::white}, r, s); }},
        {"pink", [](double r, std::uint64_t s) { return make_source(NoiseSpec{NoiseColour::pink}, r, s); }},
        {"fan", [](double r, std::uint64_t s) { return make_source(FanSpec{}, r, s); }},
        {"hum", [](double r, std::uint64_t s) { return make_source(HumSpec{}, r, s); }},
        {"speech", [](double r, std::uint64_t s) { return make_source(SpeechSpec{}, r, s); }},
        {"music", [](double r, std::uint64_t s) { return make_source(MusicSpec{}, r, s); }},
        {"spray",
         [](double r, std::uint64_t s) {
             return make_source(SprayCanSpec{{{0.1, 1.0}, {1.5, 0.3}}}, r, s);
         }},
        {"knock",
         [](double r, std::uint64_t s) {
             return make_source(KnockSpec{{0.2, 0.7}}, r, s);
         }},
    };
    return all;
}

std::unique_ptr<Source> engine(double rate_hz, std::uint64_t seed) {
    EngineSoundSpec e;
    e.sample_rate_hz = rate_hz;
    e.seed = seed;
    SpeedPathSpec p;
    p.wander_rpm = 3.0;
    p.seed = seed;
    return std::make_unique<EngineSound>(e, SpeedPath(p));
}

double db(double ratio) { return 20.0 * std::log10(ratio); }

std::unique_ptr<Source> tone_through(const MicrophoneSpec& spec, double f_hz, double rate_hz) {
    HumSpec hum;
    hum.mains_hz = f_hz;
    hum.harmonics = 1;
    return through_microphone(make_source(hum, rate_hz, 1), spec);
}

double tone_gain_db(const MicrophoneSpec& spec, double f_hz, double rate_hz) {
    const auto rms = [](const std::vector<float>& x) {
        double e = 0.0;
        for (std::size_t i = x.size() / 2; i < x.size(); ++i)
            e += static_cast<double>(x[i]) * static_cast<double>(x[i]);
        return std::sqrt(e / (0.5 * static_cast<double>(x.size())));
    };
    return db(rms(render_seconds(*tone_through(spec, f_hz, rate_hz), 2.0)) /
              rms(render_seconds(*tone_through({}, f_hz, rate_hz), 2.0)));
}

}  // namespace

TEST_CASE("disturbers: stream in any blocks, restart, and follow their seed", "[dsp][sim]") {
    const auto& [name, make] = makers()[GENERATE(range(std::size_t{0}, std::size_t{8}))];
    CAPTURE(name);
    const auto whole = make(16000.0, 5), pieces = make(16000.0, 5), other = make(16000.0, 6);
    const auto x = render_seconds(*whole, 2.5);
    std::vector<float> y(x.size());
    for (std::size_t at = 0, n = 1; at < y.size(); at += n, n = std::min<std::size_t>(n * 3 % 1777 + 1, y.size() - at))
        pieces->render(std::span(y).subspan(at, n));
    CHECK(x == y);
    whole->restart();
    CHECK(render_seconds(*whole, 2.5) == x);
    CHECK(render_seconds(*other, 2.5) != x);
}

TEST_CASE("disturbers: finite and neither silent nor wild at every rate", "[dsp][sim]") {
    const auto& [name, make] = makers()[GENERATE(range(std::size_t{0}, std::size_t{8}))];
    const double rate_hz = GENERATE(8000.0, 44100.0, 192000.0);
    CAPTURE(name, rate_hz);
    const auto x = render_seconds(*make(rate_hz, 3), 2.0);
    double square = 0.0;
    for (const float v : x) {  // NaN or infinity would stay in the sum and fail the limits below
        square += static_cast<double>(v) * static_cast<double>(v);
    }
    const double rms = std::sqrt(square / static_cast<double>(x.size()));
    CHECK(rms > 0.05);
    CHECK(rms < 3.0);
}

TEST_CASE("Mix: the ratio asked for is the ratio measured", "[dsp][sim]") {
    const auto& [name, make] = makers()[GENERATE(range(std::size_t{0}, std::size_t{6}))];
    const double snr_db = GENERATE(-6.0, 0.0, 12.0);
    CAPTURE(name, snr_db);
    constexpr double kRate_hz = 16000.0;
    const Band band{140.0, 4000.0};
    Mix mix(engine(kRate_hz, 7));
    constexpr double kStretch_s = 8.0;
    mix.add_at_snr(make(kRate_hz, 8), snr_db, band, kStretch_s);
    // What was added is the mix minus the engine; both over the stretch in which the ratio is defined.
    const auto sum = render_seconds(mix, kStretch_s);
    const auto alone = render_seconds(*engine(kRate_hz, 7), kStretch_s);
    auto added = sum;
    for (std::size_t i = 0; i < added.size(); ++i) added[i] -= alone[i];
    CHECK(db(band_rms(alone, kRate_hz, band) / band_rms(added, kRate_hz, band)) == Approx(snr_db).margin(0.1));
}

TEST_CASE("band_rms: a sine and white noise have the RMS they must have", "[dsp][sim]") {
    constexpr double kRate_hz = 16000.0;
    std::vector<float> sine(80000);
    for (std::size_t i = 0; i < sine.size(); ++i)
        sine[i] =
            static_cast<float>(0.3 * std::sin(2.0 * std::numbers::pi * 1234.5 * static_cast<double>(i) / kRate_hz));
    CHECK(band_rms(sine, kRate_hz, {1000.0, 1500.0}) == Approx(0.3 / std::numbers::sqrt2).epsilon(1e-3));
    CHECK(band_rms(sine, kRate_hz, {2000.0, 4000.0}) < 1e-4);
    const auto noise = make_source(NoiseSpec{NoiseColour::white}, kRate_hz, 9);
    CHECK(band_rms(*noise, {1000.0, 3000.0}, 20.0) == Approx(0.5).epsilon(0.02));  // a quarter of the power
}

TEST_CASE("noise: pink falls 3 dB an octave, white does not", "[dsp][sim]") {
    const auto pink = make_source(NoiseSpec{NoiseColour::pink}, 48000.0, GENERATE(1u, 2u));
    const double reference = band_rms(*pink, {100.0, 200.0}, 30.0);
    for (const double f : {200.0, 400.0, 800.0, 1600.0, 3200.0})  // equal power in every octave
        CHECK(db(band_rms(*pink, {f, 2.0 * f}, 30.0) / reference) == Approx(0.0).margin(1.0));
}

TEST_CASE("fan: its tone stays at its own speed", "[dsp][sim]") {
    const FanSpec spec;
    const auto fan = make_source(spec, 16000.0, 4);
    const double blade_hz = spec.shaft_hz * spec.blades;
    const double near =
        band_rms(*fan, {0.97 * blade_hz, 1.03 * blade_hz}, 20.0);  // eight standard deviations of wobble
    const double beside = band_rms(*fan, {1.06 * blade_hz, 1.12 * blade_hz}, 20.0);
    CHECK(db(near / beside) > 12.0);
}

TEST_CASE("speech: energy where voices have it, pauses between", "[dsp][sim]") {
    const auto speech = make_source(SpeechSpec{}, 16000.0, GENERATE(1u, 2u));
    const auto x = render_seconds(*speech, 20.0);
    const double voice = band_rms(x, 16000.0, {100.0, 3500.0});
    CHECK(db(voice / band_rms(x, 16000.0, {20.0, 80.0})) > 15.0);
    CHECK(band_rms(x, 16000.0, {4000.0, 7500.0}) > 0.05 * voice);
    int silent = 0;
    for (const float v : x) silent += v == 0.0F;
    const double share = static_cast<double>(silent) / static_cast<double>(x.size());
    CHECK(share > 0.05);
    CHECK(share < 0.5);
}

TEST_CASE("spray can: hiss lives between 3 and 12 kHz, only while spraying, quick to come", "[dsp][sim]") {
    constexpr double kRate_hz = 48000.0;
    SprayCanSpec spec{{{1.0, 2.0}}};
    const auto can = make_source(spec, kRate_hz, GENERATE(1u, 2u, 3u));
    const auto x = render_seconds(*can, 4.0);
    const auto part = [&](double from_s, double to_s) {
        return std::span(x).subspan(static_cast<std::size_t>(from_s * kRate_hz),
                                    static_cast<std::size_t>((to_s - from_s) * kRate_hz));
    };
    const auto during = part(1.1, 2.9);
    CHECK(db(band_rms(during, kRate_hz, kHissBand) / band_rms(during, kRate_hz, {20.0, 1500.0})) > 20.0);
    CHECK(band_rms(during, kRate_hz, kHissBand) == Approx(1.0).margin(0.15));
    const auto before = part(0.0, 0.99);
    CHECK(std::all_of(before.begin(), before.end(), [](float v) { return v == 0.0F; }));
    CHECK(band_rms(part(3.1, 4.0), kRate_hz, {20.0, 20000.0}) < 1e-4);
    CHECK(band_rms(part(1.06, 1.3), kRate_hz, kHissBand) > 0.7);
}

TEST_CASE("spray can: stands above the engine's upper band by the level asked for, at 16 kHz too", "[dsp][sim]") {
    const double rate_hz = GENERATE(16000.0, 48000.0);
    const double level_db = GENERATE(-6.0, 0.0, 10.0);
    const std::uint64_t seed = GENERATE(31u, 32u);
    Mix mix(engine(rate_hz, seed));
    SprayCanSpec spec;
    spec.sprays = {{1.0, 5.0, 1.0}};
    add_spray_can(mix, spec, level_db, seed + 100, 6.0);
    const auto sum = render_seconds(mix, 5.9);
    auto added = sum;
    const auto alone = render_seconds(*engine(rate_hz, seed), 5.9);
    for (std::size_t i = 0; i < added.size(); ++i) added[i] -= alone[i];
    const Band band{3000.0, std::min(12000.0, 0.45 * rate_hz)};
    const auto hiss = std::span(added).subspan(static_cast<std::size_t>(1.1 * rate_hz));
    CHECK(db(band_rms(hiss, rate_hz, band) / band_rms(alone, rate_hz, band)) == Approx(level_db).margin(0.5));
}

TEST_CASE("phone microphone: at least 40 dB less under 100 Hz, level from 160 Hz up", "[dsp][sim]") {
    const double rate_hz = GENERATE(8000.0, 48000.0, 192000.0);
    const MicrophoneSpec phone{.kind = MicrophoneKind::phone};
    for (const double f : {27.0, 53.0, 80.0, 99.0}) CHECK(tone_gain_db(phone, f, rate_hz) < -40.0);
    for (const double f : {160.0, 300.0, 1000.0}) CHECK(tone_gain_db(phone, f, rate_hz) == Approx(0.0).margin(1.0));
}

TEST_CASE("headset and stethoscope: keep their bands only", "[dsp][sim]") {
    const MicrophoneSpec headset{.kind = MicrophoneKind::headset};
    CHECK(tone_gain_db(headset, 50.0, 48000.0) < -40.0);
    CHECK(tone_gain_db(headset, 14000.0, 48000.0) < -24.0);
    CHECK(tone_gain_db(headset, 1000.0, 48000.0) == Approx(0.0).margin(3.0));
    const MicrophoneSpec tube{.kind = MicrophoneKind::stethoscope};
    CHECK(tone_gain_db(tube, 6000.0, 48000.0) < -40.0);
    CHECK(tone_gain_db(tube, 30.0, 48000.0) == Approx(0.0).margin(1.0));
}

TEST_CASE("microphone: cuts at its level; level control brings a quiet sound up by at most 12 dB", "[dsp][sim]") {
    MicrophoneSpec spec;
    spec.clip_level = 0.5;
    const auto x = render_seconds(*tone_through(spec, 100.0, 16000.0), 1.0);
    CHECK(*std::max_element(x.begin(), x.end()) == 0.5F);
    CHECK(*std::min_element(x.begin(), x.end()) == -0.5F);
    const auto clipped = std::count_if(x.begin(), x.end(), [](float v) { return std::abs(v) == 0.5F; });
    // A sine of amplitude sqrt 2 is beyond 0.5 for 1 - 2 asin(0.5 / sqrt 2) / pi of the time.
    CHECK(static_cast<double>(clipped) / 16000.0 ==
          Approx(1.0 - 2.0 * std::asin(0.5 / std::numbers::sqrt2) / std::numbers::pi).margin(0.01));
    MicrophoneSpec control;
    control.level_control = true;
    control.gain_db = -60.0;
    const auto quiet = render_seconds(*tone_through(control, 100.0, 16000.0), 20.0);
    CHECK(db(band_rms(std::span(quiet).subspan(160000), 16000.0, {20.0, 1000.0})) == Approx(-60.0 + 12.04).margin(0.1));
    const auto direct = tone_through(control, 100.0, 16000.0);
    direct->restart();
    CHECK(render_seconds(*direct, 20.0) == quiet);
}
