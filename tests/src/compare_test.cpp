#include "dsp/sim/injector_probe.hpp"
#include "dsp/sim/session.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/database.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/recording/sound_file.hpp"
#include "src/report/compare_picture.hpp"
#include "tests/src/refused.hpp"
#include "tests/src/support.hpp"

#include <filesystem>
#include <set>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

constexpr double kRate_hz = 16000.0;

void write_sound(const std::string& path, const sim::Session& session, double seconds) {
    auto writer = SoundWriter::open(path, kRate_hz);
    REQUIRE(writer);
    REQUIRE(writer.value().write(sim::render_seconds(*session.sound(), seconds)));
}

/// Two visits to one car: four spots sprayed three times, a leak of 25 rpm mended in between; and some idles besides.
const ScratchFolder& garage() {
    static const ScratchFolder folder;
    static const bool made = [] {
        auto spec = sim::plain_session(5, {25.0}, 4, kRate_hz);
        spec.engine.engine.name = "Fell 1300";
        spec.engine.engine.cylinders = 4;
        spec.engine.cylinder_strengths.assign(4, 1.0);
        spec.engine.engine.firing_order = {1, 3, 4, 2};
        spec.engine.engine.idle_low_rpm = 600.0;
        spec.engine.engine.idle_high_rpm = 1050.0;
        REQUIRE(write_engine(folder.path("engine.json"), spec.engine.engine));
        BayMap map{.name = "bay", .picture = {}, .spots = {}};
        for (const auto& s : spec.spots)
            map.spots.push_back({.spot = s.id, .name = s.name, .x_mm = s.x_mm, .y_mm = s.y_mm, .cylinder = {}});
        REQUIRE(write_map(folder.path("map.json"), map));
        for (int v = 0; v < 2; ++v) {
            spec.seed = spec.idle.seed = 300 + static_cast<std::uint64_t>(v);
            spec.engine.visit_seed = 80 + static_cast<std::uint64_t>(v);
            if (v == 1) spec.leak_rpm.assign(4, 0.0);
            const sim::Session session(spec);
            const std::string name = v == 0 ? "before" : "after";
            write_sound(folder.path(name + ".flac"), session, session.duration_s());
            MarksFile marks;
            for (const auto& m : session.marks())
                marks.marks.push_back({.time_s = m.time_s, .spot = spec.spots[m.spot].id, .extra = {}, .line = 0});
            REQUIRE(write_marks(folder.path(name + ".marks.csv"), marks));
        }
        spec.quiet_start_s = 60.0;
        write_sound(folder.path("warm.wav"), sim::Session(spec), 30.0);
        write_sound(folder.path("short.wav"), sim::Session(spec), 6.0);
        spec.idle.warm_up_rpm = 250.0;
        spec.idle.warm_up_time_s = 40.0;
        write_sound(folder.path("cold.wav"), sim::Session(spec), 40.0);
        return true;
    }();
    REQUIRE(made);
    return folder;
}

test::Ran compare(const std::string& before, const std::string& after, const std::string& rest = {}) {
    return run_idlehark("compare " + garage().path(before) + " " + garage().path(after) + " --engine " +
                        garage().path("engine.json") + " " + rest);
}

nlohmann::json figure(const nlohmann::json& all, const std::string& name) {
    for (const auto& f : all["figures"])
        if (f["figure"] == name) return f;
    return {};
}

}  // namespace

TEST_CASE("compare: proves a mended leak with the marks beside the recordings, in text, JSON and picture",
          "[src][compare]") {
    const auto truth = sim::plain_session(5, {25.0}, 4, kRate_hz);
    std::string leak;
    for (std::size_t s = 0; s < 4; ++s)
        if (truth.leak_rpm[s] != 0.0) leak = truth.spots[s].id;
    const ScratchFolder out;
    const auto ran = compare("before.flac", "after.flac",
                             "--map " + garage().path("map.json") + " --format json --plot " + out.path("c.svg"));
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    CHECK_THAT(json["summary"].get<std::string>(), Contains("Better: spot " + leak));
    for (const auto& f : json["figures"]) {
        CAPTURE(f.dump());
        CHECK(f["verdict"] == (f["figure"] == "spot " + leak ? "better" : "no proven change"));
        CHECK(f["low"].get<double>() <= f["difference"].get<double>());
        CHECK(f["difference"].get<double>() <= f["high"].get<double>());
    }
    CHECK(figure(json, "spot " + leak)["low"].get<double>() < -25.0);
    CHECK(figure(json, "spot " + leak)["high"].get<double>() > -25.0);
    for (const char* name : {"idle speed", "hunting", "wander", "half orders", "hiss"})
        CHECK_FALSE(figure(json, name).is_null());
    CHECK_THAT(test::slurp(out.path("c.svg")), Contains("<svg"));
    const auto text = compare("before.flac", "after.flac");
    CHECK(text.code == 0);
    CHECK_THAT(text.out, Contains("Better: spot " + leak));
    const auto back = compare("after.flac", "before.flac");
    CHECK_THAT(back.out, Contains("Worse: spot " + leak));
}

TEST_CASE("compare: two visits of a case are compared without listening, and as if they had been listened to",
          "[src][compare]") {
    const ScratchFolder folder;
    const auto& g = garage();
    const auto place = folder.path("fell");
    REQUIRE(run_idlehark("case new " + place + " --engine " + g.path("engine.json") + " --map " + g.path("map.json"))
                .code == 0);
    for (const auto* name : {"before", "after"}) {
        REQUIRE(run_idlehark("case add " + place + " visit --warmth warm --title " + name).code == 0);
        const auto added = run_idlehark("case add " + place + " recording " + g.path(std::string{name} + ".flac"));
        INFO(added.out << added.err);
        REQUIRE(added.code == 0);
    }
    const auto listened =
        run_idlehark("compare " + g.path("before.flac") + " " + g.path("after.flac") + " --format json --engine " +
                     g.path("engine.json") + " --map " + g.path("map.json"));
    REQUIRE(listened.code == 0);
    std::filesystem::resize_file(place + "/audio/before.flac", 40);  // unreadable: whoever listens now fails
    {  // as a version kept it that measured otherwise: the speed it kept counts
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        db.execute("UPDATE result SET figures = json_set(figures, '$.idle.wander_rpm[0]', 99.0) WHERE kind = 'heard'");
    }
    const auto kept = run_idlehark("compare " + place + " --format json");
    INFO(kept.out << kept.err);
    REQUIRE(kept.code == 0);
    const auto a = Json::parse(listened.out).at("figures");
    const auto b = Json::parse(kept.out).at("figures");
    REQUIRE(a.size() == b.size());
    for (std::size_t i = 0; i < a.size(); ++i) {
        CAPTURE(a[i].dump(), b[i].dump());
        CHECK(a[i].at("figure") == b[i].at("figure"));
        CHECK(a[i].at("verdict") == b[i].at("verdict"));
        for (const auto* key : {"before", "after", "difference", "low", "high"})
            if (!a[i].at(key).is_null())
                CHECK(b[i].at(key).get<double>() == Approx(a[i].at(key).get<double>()).epsilon(1e-3).margin(2e-3));
    }
    {
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        db.execute("UPDATE result SET settings = json_set(settings, '$.channel', 'x') WHERE kind = 'heard'");
    }
    CHECK(run_idlehark("compare " + place).code == 0);  // a stranger's word for a channel is none
    CHECK_THAT(run_idlehark("compare " + place + " --visits 1,1").err, Contains("visit 1 compared with itself"));
    for (const auto* visits : {"1,1", "98,99", "1,99"}) {
        CAPTURE(visits);
        CHECK(run_idlehark("compare " + place + " --visits " + visits).code == 2);
        const auto report = run_idlehark("report " + place + " --visits " + visits);
        CHECK(report.code == 2);
        CHECK(report.out.empty());
    }
    for (const std::string own : {"--channel 1", "--engine x.json", "--map x.json", "--marks-before x.csv"})
        test::check_refused("compare " + place + " " + own, 2, own.substr(0, own.find(' ')) + ": a case has its own");
    // Marks that are other ones by now make it listen again, which fails here.
    REQUIRE(Casebook::open(place, Casebook::Access::write).value().add_mark(1, 30.0, "1"));
    CHECK(run_idlehark("compare " + place).code == 2);
}

TEST_CASE("compare: a leak that one burst afterwards did not find is not mended by that", "[src][compare]") {
    const ScratchFolder folder;
    std::filesystem::copy_file(garage().path("after.flac"), folder.path("once.flac"));
    auto marks = read_marks(garage().path("after.marks.csv"));
    REQUIRE(marks);
    std::set<std::string> sprayed;
    std::erase_if(marks.value().marks, [&](const Mark& m) { return !sprayed.insert(m.spot).second; });
    REQUIRE(write_marks(folder.path("once.marks.csv"), marks.value()));
    const auto engine = garage().path("engine.json");
    const auto ran = run_idlehark("compare " + garage().path("before.flac") + " " + folder.path("once.flac") +
                                  " --engine " + engine);
    CHECK(ran.code == 0);
    CHECK_THAT(ran.out, !Contains("Better:") && Contains("so few bursts may all have missed"));
}

TEST_CASE("compare: a fall that slow hunting may be is told, and refused nothing", "[src][compare]") {
    auto spec = sim::plain_session(5, {25.0}, 4, kRate_hz);
    spec.engine.engine.cylinders = 4;
    spec.engine.cylinder_strengths.assign(4, 1.0);
    spec.quiet_start_s = 60.0;
    spec.idle.warm_up_rpm = 40.0;
    spec.idle.warm_up_time_s = 20.0;
    const ScratchFolder folder;
    write_sound(folder.path("falls.wav"), sim::Session(spec), 25.0);
    const auto ran = run_idlehark("compare " + garage().path("warm.wav") + " " + folder.path("falls.wav") +
                                  " --engine " + garage().path("engine.json"));
    INFO(ran.err);
    CHECK(ran.code == 0);
    CHECK_THAT(ran.out, Contains("falls.wav: the idle falls by") && Contains("hunts slowly"));
}

TEST_CASE("compare: refuses what cannot be compared, and says why", "[src][compare]") {
    SECTION("another engine") {
        Engine other = read_engine(garage().path("engine.json")).value().engine;
        other.cylinders = 6;
        other.firing_order.clear();
        const ScratchFolder folder;
        REQUIRE(write_engine(folder.path("six.json"), other));
        const auto ran = compare("warm.wav", "warm.wav", "--engine-after " + folder.path("six.json"));
        CHECK(ran.code == 2);
        CHECK_THAT(ran.err, Contains("different engines: 4 and 6 cylinders"));
    }
    SECTION("a recording too short") {
        const auto ran = compare("warm.wav", "short.wav");
        CHECK(ran.code == 1);
        CHECK_THAT(ran.err, Contains("short.wav: too little idle"));
    }
    SECTION("warm against cold, unless asked for") {
        const auto ran = compare("cold.wav", "warm.wav");
        CHECK(ran.code == 1);
        CHECK_THAT(ran.err, Contains("cold engine") && Contains("--anyway"));
        const auto anyway = compare("cold.wav", "warm.wav", "--anyway");
        CHECK(anyway.code == 0);
        CHECK_THAT(anyway.out, Contains("caution:") && Contains("cold engine"));
    }
    SECTION("no such file, wrong arguments") {
        CHECK(compare("none.wav", "warm.wav").code == 2);
        CHECK(compare("warm.wav", "warm.wav", "--injectors-before x.wav").code == 2);
        CHECK(compare("warm.wav", "warm.wav", "--plot c.gif").code == 2);
        CHECK_THAT(compare("warm.wav", "warm.wav", "--visits 1,2").err, Contains("--visits: goes with"));
    }
}

TEST_CASE("compare: another device or coding is told, and the hiss then left out", "[src][compare]") {
    const ScratchFolder folder;
    for (const char* name : {"a.wav", "b.wav"})
        std::filesystem::copy_file(garage().path("warm.wav"), folder.path(name));
    const auto run = [&](const std::string& b) {
        return run_idlehark("compare " + folder.path("a.wav") + " " + folder.path(b) + " --engine " +
                            garage().path("engine.json"));
    };
    CHECK_THAT(run("b.wav").out, Contains("\nhiss "));
    CHECK_THAT(run("b.wav").out, Contains("No proven change."));
    (void)folder.file("a.settings.json", R"({"device": "built-in"})");
    (void)folder.file("b.settings.json", R"({"device": "usb"})");
    const auto other = run("b.wav");
    CHECK(other.code == 0);
    CHECK_THAT(other.out, Contains("different devices") && !Contains("\nhiss "));
    // Half as loud all over: another gain, which the engine's lines take out.
    std::filesystem::remove(folder.path("b.settings.json"));
    auto sound = read_sound(folder.path("a.wav"));
    REQUIRE(sound);
    for (auto& x : sound.value().samples) x *= 0.25F;
    {
        auto writer = SoundWriter::open(folder.path("soft.wav"), kRate_hz);
        REQUIRE(writer);
        REQUIRE(writer.value().write(sound.value().samples));
    }
    const auto soft = run("soft.wav");
    CHECK_THAT(soft.out, Contains("12 dB softer") && Contains("No proven change."));
}

TEST_CASE("compare: injectors of two visits, a silent one that clicks again is better", "[src][compare]") {
    const ScratchFolder folder;
    sim::InjectorProbeSpec spec;
    spec.engine = read_engine(garage().path("engine.json")).value().engine;
    spec.sample_rate_hz = 24000.0;
    spec.seed = 21;
    spec.snr_db = 12.0;
    spec.recording_spread_db = 0.5;
    std::string before, after;
    for (int v = 0; v < 2; ++v)
        for (int c = 1; c <= 4; ++c) {
            spec.health.assign(4, {});
            if (v == 0) spec.health[2].level = 0.0;
            spec.cylinder = c;
            sim::SpeedPathSpec path;
            path.duration_s = 10.5;
            path.mean_rpm = 830.0;
            path.hunting_rpm = 5.0;
            path.seed = static_cast<std::uint64_t>(v == 0 ? c : 10 + c);
            const auto name = folder.path((v == 0 ? "b" : "a") + std::to_string(c) + ".wav");
            auto writer = SoundWriter::open(name, spec.sample_rate_hz);
            REQUIRE(writer);
            REQUIRE(writer.value().write(sim::record_injector(spec, sim::SpeedPath{path}).samples));
            (v == 0 ? before : after) += " " + std::to_string(c) + "=" + name;
        }
    const auto ran = compare("warm.wav", "warm.wav",
                             "--injectors-before" + before + " --injectors-after" + after + " --format json");
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    CHECK(figure(json, "injector 3, missed clicks")["verdict"] == "better");
    CHECK(figure(json, "injector 3, missed clicks")["before"] == 100.0);
    for (const int c : {1, 2, 4})
        CHECK(figure(json, "injector " + std::to_string(c) + ", missed clicks")["verdict"] == "no proven change");
}
