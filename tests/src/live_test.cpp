#include "dsp/bursts/hiss_finder.hpp"
#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/session.hpp"
#include "src/analysis/visit.hpp"
#include "src/files/csv.hpp"
#include "src/files/last_choice.hpp"
#include "src/live/level_meter.hpp"
#include "src/live/listen_view.hpp"
#include "src/live/live_session.hpp"
#include "src/live/watches.hpp"
#include "src/recording/sample24.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <numbers>
#include <optional>
#include <random>
#include <sstream>
#include <thread>
#include <variant>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

constexpr double kRate_hz = 16000.0;

/// A steady four-cylinder idle at 850 rpm, as 24 bits hold it.
const std::vector<float>& idle_sound() {
    static const std::vector<float> sound = [] {
        auto spec = sim::draw_engine(11, kRate_hz);
        spec.engine.cylinders = 4;
        spec.cylinder_strengths.assign(4, 1.0);
        sim::EngineSound engine{spec, sim::SpeedPath{std::vector{850.0, 850.0}}};
        auto x = sim::render_seconds(engine, 20.0);
        for (float& v : x) v = from_24_bits(to_24_bits(v));
        return x;
    }();
    return sound;
}

constexpr std::array kSprays_s{10.0, 22.0, 32.0};  // of a second each

/// The same idle for 40 s, with a can that hisses.
const std::vector<float>& sprayed_sound() {
    static const std::vector<float> sound = [] {
        auto x = idle_sound();
        x.insert(x.end(), x.begin(), x.end());
        sim::SprayCanSpec can;
        for (const double t : kSprays_s) can.sprays.push_back({.time_s = t});
        const auto hiss = sim::render_seconds(*sim::make_source(can, kRate_hz, 7), 40.0);
        double engine = 0.0;
        for (const float v : idle_sound()) engine += static_cast<double>(v * v) / static_cast<double>(x.size() / 2);
        for (std::size_t i = 0; i < x.size(); ++i)
            x[i] = from_24_bits(to_24_bits(x[i] + static_cast<float>(std::sqrt(engine)) * hiss[i]));
        return x;
    }();
    return sound;
}

IdleTrackerConfig tracker_config() {
    IdleTrackerConfig config;
    config.sample_rate_hz = kRate_hz;
    config.engine.cylinders = 4;
    config.engine.idle_low_rpm = 600.0;
    config.engine.idle_high_rpm = 1100.0;
    return config;
}

void wait_for_room(const Capture& capture) {
    while (capture.nearly_full()) std::this_thread::sleep_for(std::chrono::milliseconds{1});
}

/// Everything a live session measures of `x`, submitted in pieces of `piece(i)` frames; a gap before frame `gap_at`.
LiveNews hear(const std::vector<float>& x, std::size_t fixed, std::optional<std::size_t> gap_at = {}) {
    Capture capture{1};
    LiveSession session{
        capture, {.sample_rate_hz = kRate_hz, .microphone_channel = 1, .tracker = tracker_config()}, nullptr};
    std::mt19937 random{5};
    for (std::size_t at = 0; at < x.size();) {
        std::size_t n = std::min<std::size_t>(fixed > 0 ? fixed : 1 + random() % 8192, x.size() - at);
        if (gap_at && at < *gap_at) n = std::min(n, *gap_at - at);
        if (gap_at && at == *gap_at) capture.note_device_gap();
        wait_for_room(capture);
        capture.submit(x.data() + at, n);
        at += n;
    }
    return session.finish();
}

void check_same(const std::vector<LiveReading>& live, const std::vector<RpmReading>& replay) {
    REQUIRE(live.size() == replay.size());
    std::size_t different = 0;
    for (std::size_t i = 0; i < live.size(); ++i) {
        const auto& a = live[i].reading;
        const auto& b = replay[i];
        const bool same = a.time_s == b.time_s && a.locked == b.locked &&
                          (!a.locked || (a.rpm == b.rpm && a.rpm_low == b.rpm_low && a.rpm_high == b.rpm_high));
        if (!same || live[i].near_gap) ++different;
    }
    CHECK(different == 0);
}

LiveReading reading(double time_s, double rpm, bool locked = true) {
    return {.reading = {.time_s = time_s, .rpm = rpm, .rpm_low = rpm - 2.0, .rpm_high = rpm + 2.0, .locked = locked},
            .near_gap = false};
}

std::vector<float> sine(double frequency_hz, double amplitude, double seconds) {
    std::vector<float> x(static_cast<std::size_t>(seconds * kRate_hz));
    for (std::size_t i = 0; i < x.size(); ++i)
        x[i] = static_cast<float>(amplitude *
                                  std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(i) / kRate_hz));
    return x;
}

std::vector<float> white(double rms, double seconds, unsigned seed) {
    std::mt19937 random{seed};
    std::normal_distribution<float> normal{0.0F, static_cast<float>(rms)};
    std::vector<float> x(static_cast<std::size_t>(seconds * kRate_hz));
    for (float& v : x) v = normal(random);
    return x;
}

}  // namespace

TEST_CASE("LiveSession: the same digits as replay, whatever the pieces", "[live]") {
    const std::size_t piece = GENERATE(1U, 64U, 441U, 4096U, 8192U, 0U);  // 0: random, 1 to 8192
    CAPTURE(piece);
    const auto replay = track_idle(tracker_config(), idle_sound());
    REQUIRE(replay.size() > 150);
    REQUIRE(replay[100].locked);
    const auto news = hear(idle_sound(), piece);
    CHECK(news.frames == idle_sound().size());
    check_same(news.readings, replay);
}

TEST_CASE("LiveSession: a gap starts everything afresh and is marked on both sides", "[live]") {
    const auto& x = idle_sound();
    constexpr std::size_t kAt = 160000;
    const auto news = hear(x, 441, kAt);
    CHECK(news.gaps == 1);
    CHECK(news.losses.device_gaps == 1);
    const std::vector<float> after{x.begin() + kAt, x.end()};
    const auto fresh = track_idle(tracker_config(), after);
    REQUIRE(news.readings.size() > fresh.size());
    const std::size_t offset = news.readings.size() - fresh.size();
    int marked = 0;
    for (std::size_t i = 0; i < fresh.size(); ++i) {
        const auto& r = news.readings[offset + i];
        REQUIRE(r.reading.time_s == Approx(fresh[i].time_s + 10.0).margin(1e-9));
        if (r.near_gap) {
            ++marked;
            continue;
        }
        REQUIRE(r.reading.locked == fresh[i].locked);
        if (fresh[i].locked) REQUIRE(r.reading.rpm == fresh[i].rpm);
    }
    CHECK(marked > 0);
    for (const auto& r : news.readings) {  // what is near missing sound is no evidence
        if (!r.near_gap) continue;
        REQUIRE_FALSE(r.reading.locked);
        REQUIRE(std::isnan(r.reading.rpm));
        REQUIRE(std::isnan(r.reading.rpm_low));
        REQUIRE(std::isnan(r.reading.rpm_high));
    }
    CHECK(news.readings[offset].near_gap);
    CHECK(news.readings[offset - 1].near_gap);
    CHECK_FALSE(news.readings.front().near_gap);
    CHECK_FALSE(news.readings.back().near_gap);
    for (std::size_t i = 1; i < news.readings.size(); ++i)
        REQUIRE(news.readings[i].reading.time_s >= news.readings[i - 1].reading.time_s);
}

TEST_CASE("LiveSession: what it measured is what it recorded", "[live]") {
    const auto* name = GENERATE("a.flac", "a.wav");
    const ScratchFolder folder;
    // A float microphone and a reference channel: more bits than the file keeps.
    std::vector<float> stereo;
    for (const float v : idle_sound()) {
        stereo.push_back(0.1F);
        stereo.push_back(v * 0.7301F + 1e-9F);
    }
    RecordingSettings settings;
    settings.sample_rate_hz = kRate_hz;
    settings.channels = 2;
    auto recorder = Recorder::create(folder.path(name), settings);
    REQUIRE(recorder);
    LiveNews news;
    {
        Capture capture{2};
        LiveSession session{capture,
                            {.sample_rate_hz = kRate_hz, .microphone_channel = 2, .tracker = tracker_config()},
                            &recorder.value()};
        for (std::size_t at = 0; at < stereo.size() / 2; at += 1000) {
            wait_for_room(capture);
            capture.submit(stereo.data() + 2 * at, std::min<std::size_t>(1000, stereo.size() / 2 - at));
        }
        news = session.finish();
    }
    CHECK_FALSE(news.fault.has_value());
    REQUIRE(recorder.value().finish("stopped"));
    const auto sound = read_sound(folder.path(name), 2);
    REQUIRE(sound);
    check_same(news.readings, track_idle(tracker_config(), sound.value().samples));
    CHECK(news.peak[0] == Approx(0.1).margin(1e-6));
}

TEST_CASE("listen: the figures of a replay are those of idle and bursts, and gaps of the recording are told",
          "[live][cli]") {
    const ScratchFolder folder;
    const auto path = folder.path("a.flac");
    RecordingSettings settings;
    settings.sample_rate_hz = kRate_hz;
    auto recorder = Recorder::create(path, settings);
    REQUIRE(recorder);
    std::vector<std::int32_t> x;
    for (const float v : sprayed_sound()) x.push_back(to_24_bits(v));
    const bool with_gap = GENERATE(false, true);
    CAPTURE(with_gap);
    const auto gap_at = static_cast<std::size_t>((kSprays_s[1] + 0.5) * kRate_hz);  // in the middle of a hiss
    REQUIRE(recorder.value().write(std::span{x}.first(gap_at)));
    if (with_gap) REQUIRE(recorder.value().gap(0));
    REQUIRE(recorder.value().write(std::span{x}.subspan(gap_at)));
    REQUIRE(recorder.value().finish("stopped"));

    const std::string engine = " --cylinders 4 --idle-rpm 600:1100";
    const auto listened = run_idlehark("listen --format json --from " + path + engine);
    REQUIRE(listened.code == 0);
    std::vector<nlohmann::json> readings, hisses;
    bool lost = false;
    std::istringstream lines{listened.out};
    for (std::string line; std::getline(lines, line);) {
        const auto json = nlohmann::json::parse(line);
        if (json["type"] == "reading") readings.push_back(json);
        if (json["type"] == "hiss") hisses.push_back(json);
        if (json["type"] == "lost") lost = true;
    }
    CHECK(lost == with_gap);
    CHECK(std::any_of(readings.begin(), readings.end(), [](const auto& r) { return r["near_gap"] == true; }) ==
          with_gap);
    const auto idle = run_idlehark("idle " + path + engine);
    REQUIRE(idle.code == 0);
    const auto rows = split_csv(idle.out).rows;
    REQUIRE(rows.size() == readings.size() + 1);
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const auto rpm = parse_number(rows[i + 1].fields[1]);
        REQUIRE(rpm.has_value() == readings[i]["locked"].get<bool>());
        if (rpm) REQUIRE(*rpm == Approx(readings[i]["rpm"].get<double>()).margin(0.000501));  // idle prints 3 places
    }

    const auto bursts = run_idlehark("bursts " + path);
    REQUIRE(bursts.code == 0);
    const auto found = split_csv(bursts.out).rows;
    REQUIRE(found.size() == hisses.size() + 1);
    for (std::size_t i = 0; i < hisses.size(); ++i) {
        CHECK(*parse_number(found[i + 1].fields[0]) == Approx(hisses[i]["time_s"].get<double>()).margin(0.000501));
        CHECK(*parse_number(found[i + 1].fields[1]) == Approx(hisses[i]["duration_s"].get<double>()).margin(0.000501));
    }
    // What a case keeps of the recording rests on the same bursts.
    VisitRequest request;
    request.listen = {.path = path, .channel = 1, .engine = tracker_config().engine};
    for (const double t : kSprays_s) request.marks.push_back({.time_s = t, .spot = "1", .extra = {}, .line = 0});
    const auto outcome = hear_visit(request, {});
    REQUIRE(std::holds_alternative<HeardVisit>(outcome));
    std::vector<double> heard_s, live_s;
    for (const auto& b : std::get<HeardVisit>(outcome).bursts)
        if (b.found_onset_s) heard_s.push_back(*b.found_onset_s);
    for (const auto& h : hisses) live_s.push_back(h["time_s"].get<double>());
    CHECK(heard_s == live_s);
    CHECK(live_s.size() == (with_gap ? kSprays_s.size() - 1 : kSprays_s.size()));  // the one with the gap in it is lost
}

TEST_CASE("listen: says which rates, channels and files it refuses", "[live][cli]") {
    CHECK(run_idlehark("listen --from nowhere.wav --cylinders 4 --idle-rpm 600:1100").code == 2);
    CHECK(run_idlehark("listen --from nowhere.wav").code == 2);
    CHECK(run_idlehark("record").code == 2);
    CHECK(run_idlehark("record x.flac --rate 4000").code == 2);
}

TEST_CASE("Levels: silent, hum, clipping, quiet and good ones are told apart", "[live]") {
    const auto complaint = [](const std::vector<float>& x) {
        return level_complaint(measure_level(x, kRate_hz)).value_or("good");
    };
    CHECK(complaint(idle_sound()) == "good");
    CHECK_THAT(complaint(std::vector<float>(32000, 0.0F)), Contains("silent"));
    CHECK_THAT(complaint(white(3e-4, 2.0, 1)), Contains("too quiet"));
    CHECK_THAT(complaint(sine(100.0, 0.05, 2.0)), Contains("hum"));
    auto hum = sine(60.0, 0.1, 2.0);
    const auto third = sine(180.0, 0.05, 2.0);
    const auto hiss = white(0.005, 2.0, 2);
    for (std::size_t i = 0; i < hum.size(); ++i) hum[i] += third[i] + hiss[i];
    CHECK_THAT(complaint(hum), Contains("hum"));
    CHECK(complaint(sine(440.0, 0.3, 2.0)) == "good");
    auto loud = sine(440.0, 1.5, 2.0);
    for (float& v : loud) v = std::min(std::max(v, -1.0F), 1.0F);
    CHECK_THAT(complaint(loud), Contains("clipping"));
    CHECK(measure_level(sine(440.0, 0.5, 2.0), kRate_hz).rms_dbfs == Approx(-9.03).margin(0.02));
    CHECK(measure_level({}, kRate_hz).rms_dbfs == -200.0);
}

TEST_CASE("Levels: a pick-up on an ignition lead is told from a microphone", "[live]") {
    auto pick_up = white(0.001, 2.0, 3);
    for (std::size_t i = 500; i < pick_up.size(); i += 2260)  // one spark in two turns at 850 rpm
        for (std::size_t k = 0; k < 8; ++k) pick_up[i + k] += k % 2 == 0 ? 0.8F : -0.6F;
    const AudioView engine = AudioView{idle_sound()}.first(32000);
    CHECK(tell_microphone(engine, pick_up) == 0);
    CHECK(tell_microphone(pick_up, engine) == 1);
    CHECK_FALSE(tell_microphone(engine, engine).has_value());
    CHECK_FALSE(tell_microphone(engine, std::vector<float>(32000, 0.0F)).has_value());
}

TEST_CASE("Watches: a device that stalls and a machine that slept are noticed, others not", "[live]") {
    using namespace std::chrono_literals;
    StallWatch stall{2s};
    const StallWatch::Clock::time_point start{};
    CHECK_FALSE(stall.stalled(0, start));
    CHECK_FALSE(stall.stalled(100, start + 1900ms));
    CHECK_FALSE(stall.stalled(100, start + 3800ms));
    CHECK(stall.stalled(100, start + 4000ms));
    CHECK_FALSE(stall.stalled(101, start + 4100ms));
    CHECK_FALSE(stall.stalled(101, start + 30s));  // nobody asked meanwhile
    CHECK_FALSE(stall.stalled(101, start + 31s));
    CHECK(stall.stalled(101, start + 32100ms));

    SleepWatch sleep;
    CHECK_FALSE(sleep.slept_s(5000.0, 1000.0).has_value());  // slept before we started
    CHECK_FALSE(sleep.slept_s(5010.1, 1010.0).has_value());
    CHECK(sleep.slept_s(5100.1, 1011.0).value() == Approx(89.0));
    CHECK_FALSE(sleep.slept_s(5101.1, 1012.0).has_value());
    CHECK_FALSE(SleepWatch{}.slept_s().has_value());
}

TEST_CASE("Live: sound lost without a word is told by the clock; a backlog and clocks that run apart are not",
          "[live]") {
    // Sound comes in pieces of 0.1 s, 0.3 s late, its clock 500 ppm slow; asked every 30 ms.
    double held_until_s = 0.0, held_at_s = 0.0, missing_s = 0.0;
    const auto sound_at = [&](double clock_s) {
        const double reached_s = clock_s < held_until_s ? held_at_s : clock_s;
        return std::floor((reached_s * (1.0 - 5e-4) - 0.3 - missing_s) * 10.0) / 10.0;
    };
    LagWatch watch;
    std::vector<std::pair<double, double>> told;
    const auto run = [&](double from_s, double to_s) {
        for (double t = from_s; t < to_s; t += 0.03)
            if (const auto lost = watch.lost_s(std::max(0.0, sound_at(t)), t)) told.emplace_back(t, *lost);
    };
    run(0.0, 3600.0);
    CHECK(told.empty());
    held_at_s = 3600.0, held_until_s = 3612.0;  // held up for 12 s, then all of it comes at once
    run(3600.0, 3660.0);
    CHECK(told.empty());
    held_at_s = 3660.0, held_until_s = 3690.0;
    run(3660.0, 3690.0);
    missing_s = 23.0;  // and here most of it does not
    run(3690.0, 3800.0);
    REQUIRE(told.size() == 1);
    CHECK(told[0].second == Approx(23.0).margin(0.15));
    CHECK(told[0].first < 3694.0);
}

TEST_CASE("ListenView: hunting is the amplitude of the swing", "[live]") {
    std::deque<LiveReading> recent;
    for (int i = 0; i < 300; ++i) {
        const double t = 0.1 * i;
        recent.push_back(reading(t, 850.0 + 30.0 * std::sin(2.0 * std::numbers::pi * 0.5 * t), i % 10 != 3));
    }
    CHECK(hunting_rpm(recent).value() == Approx(30.0).margin(1.0));
    recent.resize(40);
    CHECK_FALSE(hunting_rpm(recent).has_value());
    CHECK_FALSE(hunting_rpm({}).has_value());
}

TEST_CASE("ListenView: the speed line shows a step, a hole and a steady idle as such", "[live]") {
    std::deque<LiveReading> recent{reading(0, 800), reading(1, 800), reading(2, 0, false), reading(3, 900)};
    CHECK(speed_line(recent, 10, true) == "▁▁ █");
    CHECK(speed_line(recent, 2, true) == " ▅");  // alone in its window: the middle
    CHECK(speed_line(recent, 10, false) == "__ \"");
    CHECK(speed_line({reading(0, 800), reading(1, 801)}, 10, false) == "-~");  // 1 rpm: one bar at the most
    CHECK(speed_line({}, 10, true).empty());
    CHECK(speed_line(recent, 0, true).empty());
}

TEST_CASE("ListenView: fits any window and says the needful", "[live]") {
    ListenView view;
    view.device = "bench microphone";
    view.recording = "bay.flac";
    view.peaks_dbfs = {-12.0, -99.0};
    view.heard_s = 71.0;
    view.losses = {.device_gaps = 2, .dropped_frames = 480};
    view.marks = {"10.0 s  spot 7", "30.0 s  spot 3"};
    view.add(reading(70.0, 851.4));
    for (int columns = 1; columns < 120; columns += 7)
        for (int rows = 1; rows < 40; rows += 3) {
            const auto lines = lay_out(view, {.columns = columns, .rows = rows}, true);
            REQUIRE(lines.size() <= static_cast<std::size_t>(rows));
            REQUIRE_THAT(lines.front(), Contains("851.4 rpm +- 2.0"));
        }
    std::string all;
    for (const auto& line : lay_out(view, {.columns = 80, .rows = 24}, true)) all += line + "\n";
    CHECK_THAT(all, Contains("LOST SOUND") && Contains("gaps 2") && Contains("dropped 480") && Contains("bay.flac") &&
                        Contains("spot 3") && Contains("locked") && Contains("-12 dBFS"));
    view.add(reading(70.1, 0.0, false));
    CHECK_THAT(lay_out(view, {}, true).front(), Contains("no lock"));
    for (int i = 0; i < 1000; ++i) view.add(reading(71.0, 850.0));
    CHECK(view.recent.size() == ListenView::kRecentReadings);
}

TEST_CASE("Last device: kept where the XDG rules say, relative places ignored", "[live]") {
    const ScratchFolder folder;
    const std::string home = std::getenv("HOME") ? std::getenv("HOME") : "";
    setenv("HOME", folder.path("home").c_str(), 1);
    setenv("XDG_STATE_HOME", folder.path("state").c_str(), 1);
    CHECK(last_device().empty());
    remember_device("USB microphone");
    CHECK(last_device() == "USB microphone");
    CHECK(test::slurp(folder.path("state/idlehark/device")) == "USB microphone\n");
    setenv("XDG_STATE_HOME", "state", 1);
    CHECK(last_device().empty());
    remember_device("other");
    CHECK(test::slurp(folder.path("home/.local/state/idlehark/device")) == "other\n");
    unsetenv("XDG_STATE_HOME");
    CHECK(last_device() == "other");
    setenv("HOME", home.c_str(), 1);
}
