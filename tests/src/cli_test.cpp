#include "dsp/sim/session.hpp"
#include "src/files/csv.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/refused.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sndfile.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

constexpr double kRate_hz = 16000.0;
const std::string kFour = " --cylinders 4 --idle-rpm 600:1100";

/// A steady four-cylinder idle at 850 rpm.
const std::vector<float>& idle_sound() {
    static const std::vector<float> sound = [] {
        auto spec = sim::draw_engine(3, kRate_hz);
        spec.engine.cylinders = 4;
        spec.cylinder_strengths.assign(4, 1.0);
        sim::EngineSound engine{spec, sim::SpeedPath{std::vector{850.0, 850.0}}};
        auto x = sim::render_seconds(engine, 12.0);
        for (float& v : x) v = std::round(v * 32768.0F) / 32768.0F;  // what 16 bits hold, whatever the container
        return x;
    }();
    return sound;
}

std::string write(const ScratchFolder& folder, const std::string& name, AudioView samples) {
    auto writer = SoundWriter::open(folder.path(name), kRate_hz);
    REQUIRE(writer);
    REQUIRE(writer.value().write(samples));
    return folder.path(name);
}

/// 32-bit float WAV, which can hold what no sound card delivers.
std::string write_float(const ScratchFolder& folder, const std::string& name, const std::vector<float>& samples) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(kRate_hz);
    info.channels = 1;
    info.format = SF_FORMAT_WAV | SF_FORMAT_FLOAT;
    SNDFILE* file = sf_open(folder.path(name).c_str(), SFM_WRITE, &info);
    REQUIRE(file != nullptr);
    sf_writef_float(file, samples.data(), static_cast<sf_count_t>(samples.size()));
    sf_close(file);
    return folder.path(name);
}

/// A small practice bay with one leak, written once: five spots, three bursts each.
const ScratchFolder& practice() {
    static const ScratchFolder folder;
    static const auto ran = run_idlehark("practice --seed 9 --spots 5 --out " + folder.path("bay"));
    REQUIRE(ran.code == 0);
    return folder;
}
std::string practice_file(const std::string& name) { return practice().path("bay/" + name); }
std::string spray_arguments() {
    return "spray " + practice_file("bay.flac") + " --engine " + practice_file("engine.json") + " --map " +
           practice_file("map.json") + " --marks ";
}

}  // namespace

TEST_CASE("Command line: help and version succeed, wrong use exits 2 with a message on stderr", "[src][cli]") {
    const auto version = run_idlehark("--version").out;
    CHECK_THAT(version,
               StartsWith("idlehark " IDLEHARK_VERSION "\n") && Contains("C++20") && Contains("libsndfile 1."));
    CHECK_THAT(version, !Contains("/"));  // no place of the machine it was built on
    const auto help = run_idlehark("--help");
    CHECK(help.code == 0);
    for (const std::string command :
         {"idle", "bursts", "spray", "injectors", "hiss", "balance", "compare", "report", "practice", "demo", "case"}) {
        CAPTURE(command);
        CHECK_THAT(help.out, Contains("  " + command));
        const auto own = run_idlehark(command + " --help");
        CHECK(own.code == 0);
        CHECK_THAT(own.out, Contains("Example: idlehark " + command));
    }
    for (const char* wrong : {"", "sing", "idle", "idle --hop 0.1", "idle x.wav --hop 5", "idle x.wav --cylinders four",
                              "spray x.wav --format xml", "practice"}) {
        CAPTURE(wrong);
        const auto ran = run_idlehark(wrong);
        CHECK(ran.code == 2);
        CHECK(ran.out.empty());
        CHECK_FALSE(ran.err.empty());
    }
}

TEST_CASE("Command line: numbers are decimal and finite, whatever the option", "[src][cli]") {
    for (const char* wrong :
         {"plan x.wav --matters-rpm nan", "spray x.wav --matters-rpm inf", "listen --seconds nan",
          "record x.wav --rate nan", "practice --out /nowhere/x --rate nan", "practice --engine 1 --auto --pace NAN",
          "idle x.wav --hop nan", "case add c log x --reading -inf", "idle x.wav --channel 0x10",
          "idle x.wav --channel ''"}) {
        CAPTURE(wrong);
        const auto ran = run_idlehark(wrong);
        CHECK(ran.code == 2);
        CHECK_THAT(ran.err, Contains("is not a number"));
    }
    const ScratchFolder folder;
    const auto file = write(folder, "x.wav", idle_sound());
    const auto tenth = run_idlehark("idle " + file + kFour + " --channel 010");
    CHECK(tenth.code == 2);
    CHECK(tenth.err == run_idlehark("idle " + file + kFour + " --channel 10").err);
    CHECK(run_idlehark("idle " + file + kFour + " --channel 0001 --hop 00.5").code == 0);
}

TEST_CASE("Command line: an option that would change nothing is refused by its name", "[src][cli]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    REQUIRE(run_idlehark("case new " + place + " --engine " + practice_file("engine.json") + " --map " +
                         practice_file("map.json"))
                .code == 0);
    for (const std::string own : {"--engine e.json", "--cylinders 4", "--strokes 4", "--idle-rpm 600:900",
                                  "--channel 1", "--marks m.csv", "--map m.json"})
        test::check_refused("plan " + place + " " + own, 2, own.substr(0, own.find(' ')) + ": a case has its own");
    test::check_refused("listen --guide --case " + place + " --engine e.json", 2, "--engine: the case has its own");
    test::check_refused("listen --guide --case " + place + " --cylinders 4", 2, "--cylinders: the case has its own");
    test::check_refused("listen --guide --hop 0.5 --map m.json --cylinders 4", 2, "--hop: a guided test reads");
    test::check_refused("listen --resume --from x.wav" + kFour, 2, "--resume: ");
    for (const std::string own : {"--spots 5", "--day 2", "--mended 1", "--only 1", "--disturbed", "--rate 8000",
                                  "--sound x.wav", "--engine-name x"})
        test::check_refused("practice --engine 1 --auto " + own, 2,
                            own.substr(0, own.find(' ')) + ": does not go with");
}

TEST_CASE("idle: CSV as promised, right about the speed", "[src][cli]") {
    const ScratchFolder folder;
    const auto ran = run_idlehark("idle " + write(folder, "x.wav", idle_sound()) + kFour + " --hop 0.25");
    CHECK(ran.code == 0);
    const auto table = split_csv(ran.out);
    REQUIRE(table.rows.size() > 40);
    CHECK(table.rows[0].fields == std::vector<std::string>{"time_s", "rpm", "rpm_low", "rpm_high", "locked"});
    int locked = 0;
    for (std::size_t i = 1; i < table.rows.size(); ++i) {
        const auto& f = table.rows[i].fields;
        REQUIRE(f.size() == 5);
        CHECK(parse_number(f[0]) == Approx(0.25 * static_cast<double>(i - 1)).margin(1e-3));
        if (f[4] == "0") {
            CHECK((f[1].empty() && f[2].empty() && f[3].empty()));
            continue;
        }
        ++locked;
        CHECK(f[4] == "1");
        CHECK(*parse_number(f[1]) == Approx(850.0).margin(8.5));  // 1 %
        CHECK(*parse_number(f[2]) < *parse_number(f[1]));
        CHECK(*parse_number(f[3]) > *parse_number(f[1]));
    }
    CHECK(locked > 30);
}

TEST_CASE("idle: a speed that is not the stated idle's is told", "[src][cli]") {
    const ScratchFolder folder;
    const auto file = write(folder, "x.wav", idle_sound());
    const auto off = run_idlehark("idle " + file + " --cylinders 4 --idle-rpm 950:1200");
    CHECK(off.code == 0);
    CHECK_THAT(off.err, Contains("x.wav: the speed heard, about 8") &&
                            Contains("is not that of the stated idle, 950 to 1200 rpm"));
    CHECK_THAT(run_idlehark("idle " + file + " --cylinders 4 --idle-rpm 790:910").err, !Contains("stated idle"));
}

TEST_CASE("idle: the container does not change a digit", "[src][cli]") {
    const ScratchFolder folder;
    const auto wav = run_idlehark("idle " + write(folder, "x.wav", idle_sound()) + kFour);
    const auto flac = run_idlehark("idle " + write(folder, "x.flac", idle_sound()) + kFour);
    CHECK(wav.code == 0);
    CHECK(wav.out == flac.out);
}

TEST_CASE("idle: the engine must be known and possible", "[src][cli]") {
    const ScratchFolder folder;
    const auto file = write(folder, "x.wav", idle_sound());
    const auto bad = folder.file("engine.json", R"({"cylinders":40,"idle_rpm":[700,950]})");
    const auto odd = folder.file("odd.json", R"({"cylinders":4,"idle_rpm":[600,1100],"colour":"red"})");
    struct Case {
        std::string arguments;
        int code;
        const char* message;
    };
    const std::vector<Case> cases{
        {"", 2, "which engine?"},
        {" --cylinders 4", 2, "which idle?"},
        {" --cylinders 4 --idle-rpm 700", 2, "--idle-rpm: \"700\" is not LOW:HIGH"},
        {" --cylinders 4 --idle-rpm 950:700", 2, "idle_rpm: needs two speeds, low before high"},
        {" --cylinders 13 --idle-rpm 700:950", 2, "cylinders: 13 is not in 1..12"},
        {" --strokes 3" + kFour, 2, "strokes: 3 is not 2 or 4"},
        {" --engine " + bad, 2, "idlehark: engine.json: cylinders: 40 is not in 1..12"},
        {" --engine " + folder.path("none.json"), 2, "No such file"},
        {" --engine " + folder.path(""), 2, "is a folder"},
        {" --engine " + odd, 0, "note: odd.json: colour: is not a known key"},
    };
    for (const auto& c : cases) {
        CAPTURE(c.arguments);
        const auto ran = run_idlehark("idle " + file + c.arguments);
        CHECK(ran.code == c.code);
        CHECK_THAT(ran.err, Contains(c.message));
    }
}

TEST_CASE("idle: sound that cannot be read exits 2", "[src][cli]") {
    const ScratchFolder folder;
    struct Case {
        std::string file;
        const char* message;
    };
    const std::vector<Case> cases{{folder.path("none.wav"), "No such file"},
                                  {folder.path(""), "is a folder"},
                                  {folder.file("empty.wav", ""), "is empty (0 bytes)"},
                                  {folder.file("text.wav", "hello"), "cannot be read as sound"},
                                  {write(folder, "no-frames.wav", {}), "contains no sound"}};
    for (const auto& c : cases)
        for (const std::string command : {"idle", "bursts"}) {
            CAPTURE(c.file, command);
            const auto ran = run_idlehark(command + " " + c.file + (command == "idle" ? kFour : ""));
            CHECK(ran.code == 2);
            CHECK_THAT(ran.err, Contains(c.message));
        }
}

TEST_CASE("idle: sound that allows no answer exits 1 with the reason", "[src][cli]") {
    const ScratchFolder folder;
    const std::vector<float> silence(160000, 0.0F);
    const std::vector<float> nothing(160000, std::numeric_limits<float>::quiet_NaN());
    struct Case {
        std::string file;
        const char* message;
    };
    const std::vector<Case> cases{{write(folder, "silent.wav", silence), "is silent"},
                                  {write_float(folder, "nan.wav", nothing), "no sample is a number"}};
    for (const auto& c : cases) {
        CAPTURE(c.file);
        const auto ran = run_idlehark("idle " + c.file + kFour);
        CHECK(ran.code == 1);
        CHECK_THAT(ran.err, Contains(c.message));
        CHECK_THAT(ran.out, StartsWith("time_s,rpm,rpm_low,rpm_high,locked\n"));
        CHECK_THAT(ran.out, !Contains(",1\n"));
    }
    CHECK(run_idlehark("bursts " + cases[0].file).code == 1);
}

TEST_CASE("idle: one second of sound gives a speed or the reason why not", "[src][cli]") {
    const ScratchFolder folder;
    const auto ran = run_idlehark("idle " + write(folder, "short.wav", AudioView{idle_sound()}.first(16000)) + kFour);
    const bool locked = ran.out.find(",1\n") != std::string::npos;
    CHECK(ran.code == (locked ? 0 : 1));
    if (!locked) CHECK_THAT(ran.err, Contains("1.0 s of sound is too short"));
    const auto none = run_idlehark("idle " + write(folder, "blink.wav", AudioView{idle_sound()}.first(500)) + kFour);
    CHECK(none.code == 1);
    CHECK_THAT(none.err, Contains("0.0 s of sound is too short"));
}

TEST_CASE("idle: damaged sound is used and the damage is said", "[src][cli]") {
    const ScratchFolder folder;
    auto sound = idle_sound();
    SECTION("clipped, with its share") {
        float peak = 0.0F;
        for (const float x : sound) peak = std::max(peak, std::fabs(x));
        for (float& x : sound) x = std::clamp(x * 4.0F / peak, -1.0F, 1.0F);
        const auto ran = run_idlehark("idle " + write_float(folder, "loud.wav", sound) + kFour);
        CHECK(ran.code == 0);
        CHECK_THAT(ran.err, Contains("% of the samples are clipped"));
    }
    SECTION("NaN in places") {
        for (std::size_t i = 80000; i < 80200; ++i) sound[i] = std::numeric_limits<float>::quiet_NaN();
        const auto ran = run_idlehark("idle " + write_float(folder, "nan.wav", sound) + kFour);
        CHECK(ran.code == 0);
        CHECK_THAT(ran.err, Contains("0.1 % of the samples are no numbers"));
    }
    SECTION("broken off") {
        const auto path = write(folder, "cut.wav", sound);
        std::filesystem::resize_file(path, std::filesystem::file_size(path) * 3 / 4);
        const auto ran = run_idlehark("idle " + path + kFour);
        CHECK(ran.code == 0);
        CHECK_THAT(ran.err, Contains("the file breaks off; the 9.0 s that can be read are used"));
    }
}

TEST_CASE("idle: output that cannot be written is a failure", "[src][cli]") {
    if (!std::filesystem::exists("/dev/full")) return;
    const ScratchFolder folder;
    const auto ran = run_idlehark("idle " + write(folder, "x.wav", idle_sound()) + kFour + " >/dev/full");
    CHECK(ran.code == 2);
    CHECK_THAT(ran.err, Contains("could not be written"));
}

TEST_CASE("practice: the same seed gives the same bay, another seed another", "[src][cli]") {
    const ScratchFolder folder;
    for (const std::string name : {"a --seed 5", "b --seed 5", "c --seed 6"})
        REQUIRE(run_idlehark("practice --spots 3 --rate 8000 --out " + folder.path(name)).code == 0);
    for (const std::string file : {"/bay.flac", "/engine.json", "/map.json", "/marks.csv", "/truth.json"}) {
        CAPTURE(file);
        const auto a = test::slurp(folder.path("a" + file));
        CHECK_FALSE(a.empty());
        CHECK(a == test::slurp(folder.path("b" + file)));
    }
    CHECK(test::slurp(folder.path("a/bay.flac")) != test::slurp(folder.path("c/bay.flac")));
    const auto wrong = run_idlehark("practice --out " + folder.file("file", "x") + "/sub");
    CHECK(wrong.code == 2);
}

TEST_CASE("practice: writes over nothing that is in the folder", "[src][cli]") {
    for (const std::string name : {"bay.flac", "engine.json", "map.json", "marks.csv", "truth.json"}) {
        CAPTURE(name);
        const ScratchFolder folder;
        const auto own = folder.file(name, "the user's own");
        for (const auto* how : {"--spots 3 --rate 8000", "--engine 1 --auto"}) {
            const auto ran = run_idlehark("practice --out " + folder.path("") + " " + how);
            CHECK(ran.code == 2);
            CHECK_THAT(ran.err, Contains(name + ": exists already"));
        }
        CHECK(test::slurp(own) == "the user's own");
        CHECK(std::distance(std::filesystem::directory_iterator{folder.path("")}, {}) == 1);
    }
}

TEST_CASE("bursts: hears the sprays of a practice bay", "[src][cli]") {
    const auto ran = run_idlehark("bursts " + practice_file("bay.flac"));
    CHECK(ran.code == 0);
    const auto table = split_csv(ran.out);
    const auto marks = split_csv(test::slurp(practice_file("marks.csv")));
    CHECK(table.rows[0].fields == std::vector<std::string>{"time_s", "duration_s"});
    REQUIRE(table.rows.size() == marks.rows.size());
    for (std::size_t i = 1; i < table.rows.size(); ++i)
        CHECK(*parse_number(table.rows[i].fields[0]) == Approx(*parse_number(marks.rows[i].fields[0])).margin(0.1));
}

TEST_CASE("spray: the JSON holds what is promised", "[src][cli]") {
    const auto ran = run_idlehark(spray_arguments() + practice_file("marks.csv") + " --format json");
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    for (const char* key : {"idle_rpm", "hunting_rpm", "smallest_provable_rpm"}) CHECK(json.at(key).is_number());
    CHECK(json.at("cautions").is_array());
    CHECK(json.at("notes").is_array());
    REQUIRE(json.at("spots").size() == 5);
    for (const auto& spot : json.at("spots")) {
        CHECK(spot.at("bursts") == 3);
        CHECK(spot.at("low_rpm") <= spot.at("change_rpm"));
        CHECK(spot.at("change_rpm") <= spot.at("high_rpm"));
        CHECK(spot.at("p_value") >= 0.0);
        CHECK(spot.at("p_value") <= 1.0);
        CHECK(spot.contains("delay_s"));
        const std::string verdict = spot.at("verdict");
        CHECK((verdict == "leak" || verdict == "overspray" || verdict == "none seen" || verdict == "undecided"));
    }
}

TEST_CASE("spray: finds the hidden leak, by marks and by ear alike", "[src][cli]") {
    const auto truth = nlohmann::json::parse(test::slurp(practice_file("truth.json")));
    std::string order;
    const auto marks = split_csv(test::slurp(practice_file("marks.csv")));
    for (std::size_t i = 1; i < marks.rows.size(); ++i) order += (i > 1 ? "," : "") + marks.rows[i].fields[1];
    const auto by_marks = run_idlehark(spray_arguments() + practice_file("marks.csv") + " --format json");
    const auto by_ear = run_idlehark("spray " + practice_file("bay.flac") + " --engine " +
                                     practice_file("engine.json") + " --format json --found --order " + order);
    for (const auto* ran : {&by_marks, &by_ear}) {
        REQUIRE(ran->code == 0);
        const auto json = nlohmann::json::parse(ran->out);
        for (const auto& spot : json.at("spots")) {
            bool hidden = false;
            for (const auto& leak : truth.at("leaks")) hidden = hidden || leak.at("spot") == spot.at("spot");
            CAPTURE(spot.dump());
            CHECK((spot.at("verdict") == "leak") == hidden);
        }
    }
}

TEST_CASE("spray: wrong marks, maps and orders are named", "[src][cli]") {
    const ScratchFolder folder;
    struct Case {
        std::string marks;
        int code;
        const char* message;
    };
    const std::vector<Case> cases{
        {folder.file("late.csv", "time_s,spot\n30,1\n9999,2\n"), 2, "late.csv: line 3: time_s: 9999 is after the end"},
        {folder.file("unknown.csv", "time_s,spot\n30,1\n40,77\n"), 2,
         "unknown.csv: line 3: spot \"77\" is not on the map"},
        {folder.file("empty.csv", ""), 2, "empty.csv: is empty"},
        {folder.path("none.csv"), 2, "No such file"},
        {practice_file("marks.csv") + " --found", 2, "either --marks FILE, or --found with --order"},
        {practice_file("marks.csv") + " --plot x.gif", 2, "x.gif: a picture is written as .png or .svg"},
        {practice_file("marks.csv") + " --plot /no/such/folder/x.png", 2, "cannot be written"},
        {practice_file("marks.csv") + " --matters-rpm 0", 2, "matters-rpm"},
    };
    for (const auto& c : cases) {
        CAPTURE(c.marks);
        const auto ran = run_idlehark(spray_arguments() + c.marks);
        CHECK(ran.code == c.code);
        CHECK_THAT(ran.err, Contains(c.message));
    }
    const auto order = [](const std::string& text) {
        return run_idlehark("spray " + practice_file("bay.flac") + " --engine " + practice_file("engine.json") + text);
    };
    CHECK(order(" --found").code == 2);
    CHECK(order("").code == 2);
    const auto uneven = order(" --found --order 1,2,3,1");
    CHECK(uneven.code == 1);
    CHECK_THAT(uneven.err, Contains("15 bursts of hiss are heard, but the order names 4"));
}

TEST_CASE("spray: spots with one burst are named in a caution", "[src][cli]") {
    const ScratchFolder folder;
    const auto marks = split_csv(test::slurp(practice_file("marks.csv")));
    std::string text = "time_s,spot\n";  // every burst but two of the last spot's
    const std::string rare = marks.rows.back().fields[1];
    for (std::size_t i = 1, seen = 0; i < marks.rows.size(); ++i) {
        const auto& f = marks.rows[i].fields;
        if (f[1] == rare && ++seen > 1) continue;
        text += f[0] + "," + f[1] + "\n";
    }
    const auto ran = run_idlehark(spray_arguments() + folder.file("k.csv", text));
    CHECK(ran.code == 0);
    CHECK_THAT(ran.out, Contains("caution: one burst only at spot " + rare));
}

TEST_CASE("spray: a silent recording allows no answer", "[src][cli]") {
    const ScratchFolder folder;
    const auto file = write(folder, "silent.wav", std::vector<float>(800000, 0.0F));
    const auto ran = run_idlehark("spray " + file + kFour + " --marks " + folder.file("k.csv", "time_s,spot\n20,1\n"));
    CHECK(ran.code == 1);
    CHECK_THAT(ran.err, Contains("is silent"));
    CHECK(ran.out.empty());
}

TEST_CASE("spray: draws PNG and SVG", "[src][cli]") {
    const ScratchFolder folder;
    const auto draw = [&](const std::string& name) {
        CHECK(run_idlehark(spray_arguments() + practice_file("marks.csv") + " --plot " + folder.path(name)).code == 0);
        return test::slurp(folder.path(name));
    };
    const auto png = draw("v.png");
    CHECK(png.substr(1, 3) == "PNG");
    CHECK(png.size() > 20000);
    CHECK(png == draw("again.png"));
    CHECK_THAT(draw("v.svg"), Contains("<svg"));
}
