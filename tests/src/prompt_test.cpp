#include "dsp/sim/session.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/live/prompt_player.hpp"
#include "src/live/prompt_schedule.hpp"
#include "src/live/voice.hpp"
#include "src/practice/practice_bay.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/fake_output.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace idlehark;
using test::ScratchFolder;

namespace {

float peak_of(const std::vector<float>& x) {
    float peak = 0.0F;
    for (const float v : x) peak = std::max(peak, std::fabs(v));
    return peak;
}

double rms_of(const std::vector<float>& x) {
    double sum = 0.0;
    for (const float v : x) sum += static_cast<double>(v) * static_cast<double>(v);
    return std::sqrt(sum / static_cast<double>(x.size()));
}

nlohmann::json judge(const std::string& folder, const std::string& sound) {
    const auto ran = test::run_idlehark("spray " + sound + " --engine " + folder + "/engine.json --map " + folder +
                                        "/map.json --marks " + folder + "/marks.csv --format json");
    REQUIRE(ran.code == 0);
    return nlohmann::json::parse(ran.out);
}

}  // namespace

TEST_CASE("PromptSchedule: nothing sounds in the quiet start or while an answer is measured", "[prompts]") {
    PromptSchedule schedule;
    const std::vector<double> marks_s{30.0, 44.0, 58.5, 60.0};
    std::vector<double> spoken_s;
    std::vector<std::string> texts;
    std::size_t next = 0;
    for (int i = 0; i < 900; ++i) {
        const double now_s = 0.1 * i;
        schedule.reading(now_s - 1.0, true);
        if (next < marks_s.size() && now_s >= marks_s[next]) {
            schedule.mark(marks_s[next], std::to_string(next));
            ++next;
        }
        if (const auto prompt = schedule.due(now_s)) {
            spoken_s.push_back(now_s);
            texts.push_back(prompt->text);
        }
    }
    REQUIRE(texts ==
            std::vector<std::string>{"Ready.", "Spot 0 noted. Next.", "Spot 1 noted. Next.", "Spot 3 noted. Next."});
    CHECK(spoken_s.front() >= PromptSchedule::kQuiet_s);
    for (const double at_s : spoken_s)
        for (const double mark_s : marks_s) CHECK_FALSE((at_s >= mark_s && at_s < mark_s + PromptSchedule::kAnswer_s));
}

TEST_CASE("PromptSchedule: a lost idle is said once a loss, and not before the quiet start is over", "[prompts]") {
    PromptSchedule schedule;
    CHECK_FALSE(schedule.due(24.9).has_value());
    const auto lost = schedule.due(25.0);
    REQUIRE(lost.has_value());
    CHECK(lost->text == "No idle speed is heard.");
    CHECK_FALSE(schedule.due(26.0).has_value());
    schedule.reading(30.0, true);
    REQUIRE(schedule.due(30.5).has_value());  // ready
    schedule.reading(31.0, false);
    CHECK_FALSE(schedule.due(34.0).has_value());
    CHECK(schedule.due(36.0).has_value());
    CHECK_FALSE(schedule.due(37.0).has_value());
}

TEST_CASE("Voice: sounds of the stated loudness, and different words sound different", "[prompts]") {
    const double rate_hz = GENERATE(16000.0, 44100.0, 48000.0);
    CHECK(beep(rate_hz, true).size() == static_cast<std::size_t>(0.25 * rate_hz));
    CHECK(beep(rate_hz, false).size() > 2 * beep(rate_hz, true).size());
    for (const bool asks : {true, false}) CHECK(peak_of(beep(rate_hz, asks)) == Approx(0.4).margin(0.01));
    const auto seven = speak("Spot 7 noted. Next.", rate_hz);
    CHECK(peak_of(seven) == Approx(0.5).margin(0.02));
    const double length_s = static_cast<double>(seven.size()) / rate_hz;
    CHECK(length_s > 0.8);
    CHECK(length_s < 3.5);  // ends before 14 s after the mark
    CHECK(seven == speak("Spot 7 noted. Next.", rate_hz));
    CHECK(seven != speak("Spot 8 noted. Next.", rate_hz));
    CHECK(speak("", rate_hz).empty());
}

TEST_CASE("PromptPlayer: the newest prompt is said as soon as the output lets go of the one before", "[prompts]") {
    const auto played = std::make_shared<test::PlayedSounds>();
    auto owned = std::make_unique<test::FakeOutput>(played);
    auto& output = *owned;
    PromptPlayer player{std::move(owned)};
    const auto rate_hz = output.sample_rate_hz();
    const auto spray = speak("Spot 3. Now.", rate_hz);
    const auto wait = speak("Wait. Do not spray.", rate_hz);
    player.say("Spot 3. Now.", PromptStyle::spoken, true);
    CHECK(played->all() == std::vector<std::vector<float>>{spray});
    CHECK_FALSE(player.waiting());

    // Withdrawn while it is being said: the device has not yet let go of it.
    player.say("Wait. Do not spray.", PromptStyle::spoken, false);
    player.pump();
    CHECK(played->all().size() == 1);
    CHECK(player.waiting());
    output.ask();
    player.pump();
    CHECK(played->all() == std::vector{spray, wait});
    CHECK_FALSE(player.waiting());

    // Of several that wait the newest is said, and nothing twice.
    player.say("Spot 4. Now.", PromptStyle::spoken, true);
    player.say("Spot 5. Now.", PromptStyle::beep, true);
    player.say("Wait. Do not spray.", PromptStyle::spoken, false);
    output.ask();
    player.pump();
    output.end();
    player.pump();
    CHECK(played->all() == std::vector{spray, wait, wait});

    // What is hushed is not said later.
    player.say("Spot 4. Now.", PromptStyle::spoken, true);
    player.say("Spot 5. Now.", PromptStyle::spoken, true);
    player.hush();
    CHECK_FALSE(player.waiting());
    output.ask();
    player.pump();
    CHECK(played->all().size() == 4);
}

TEST_CASE("Prompts: as loud as the engine, they move no verdict", "[prompts]") {
    const std::uint64_t seed = GENERATE(31U, 32U);
    const ScratchFolder folder;
    PracticeRequest request;
    request.seed = seed;
    request.folder = folder.path("bay");
    request.spots = 5;
    REQUIRE(write_practice(request, [](std::uint64_t, std::uint64_t) {}));
    const auto sound = read_sound(folder.path("bay/bay.flac"));
    const auto marks = read_marks(folder.path("bay/marks.csv"));
    REQUIRE(sound);
    REQUIRE(marks);
    auto mixed = sound.value().samples;
    const double rate_hz = sound.value().sample_rate_hz;
    const double engine_rms = rms_of(mixed);
    PromptSchedule schedule;
    std::size_t next = 0;
    int prompts = 0;
    const auto& all = marks.value().marks;
    for (double now_s = 0.0; now_s < static_cast<double>(mixed.size()) / rate_hz; now_s += 0.05) {
        schedule.reading(now_s, true);
        if (next < all.size() && now_s >= all[next].time_s) {
            schedule.mark(all[next].time_s, all[next].spot);
            ++next;
        }
        const auto due = schedule.due(now_s);
        if (!due) continue;
        ++prompts;
        auto x = prompts % 2 == 0 ? beep(rate_hz, due->asks_for_spray) : speak(due->text, rate_hz);
        const double gain = engine_rms / rms_of(x);
        const auto at = static_cast<std::size_t>(now_s * rate_hz);
        for (std::size_t i = 0; i < x.size() && at + i < mixed.size(); ++i)
            mixed[at + i] += static_cast<float>(gain * static_cast<double>(x[i]));
    }
    REQUIRE(prompts >= static_cast<int>(all.size()) - 1);
    {
        auto writer = SoundWriter::open(folder.path("mixed.flac"), rate_hz);
        REQUIRE(writer);
        REQUIRE(writer.value().write(mixed));
    }
    const auto plain = judge(request.folder, folder.path("bay/bay.flac"));
    const auto prompted = judge(request.folder, folder.path("mixed.flac"));
    REQUIRE(plain.at("spots").size() == prompted.at("spots").size());
    for (std::size_t i = 0; i < plain.at("spots").size(); ++i) {
        const auto& a = plain.at("spots")[i];
        const auto& b = prompted.at("spots")[i];
        CAPTURE(seed, a.dump(), b.dump());
        CHECK(a.at("spot") == b.at("spot"));
        CHECK(a.at("verdict") == b.at("verdict"));
        // A quarter of the smallest change that matters.
        CHECK(a.at("change_rpm").get<double>() == Approx(b.at("change_rpm").get<double>()).margin(15.0 / 4.0));
    }
}
