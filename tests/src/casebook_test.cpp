#include "src/casebook/casebook.hpp"

#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "tests/src/casebook_support.hpp"

#include <cmath>
#include <filesystem>
#include <limits>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::example_engine;
using test::example_map;
using test::new_case;
using test::ScratchFolder;
using test::tone_file;

TEST_CASE("Casebook: everything that is put in comes out again after reopening", "[casebook]") {
    const ScratchFolder folder;
    RowId visit = 0;
    RowId recording = 0;
    RowId result = 0;
    const std::vector<RpmReading> trace{{0.0, 850.25, 848.0, 852.5, true},
                                        {0.1, std::nan(""), std::nan(""), std::nan(""), false},
                                        {0.2, 851.125, 849.0, 853.0, true}};
    {
        auto book = new_case(folder.path("marlow"));
        const auto v = book.add_visit({.date = "2026-05-30",
                                       .title = "before",
                                       .warmth = Warmth::warm,
                                       .device = "telephone",
                                       .gain = "manual, 40 %",
                                       .note = "rain"});
        REQUIRE(v);
        visit = v.value();
        REQUIRE(book.answer_gate(visit, "Smell of fuel?", "no"));
        LogEntry entry;
        entry.name = "fuel pressure";
        entry.low = 2.5;
        entry.high = 3.2;
        entry.unit = "bar";
        entry.reading = 2.9;
        entry.state = LogState::ok;
        entry.note = "at idle";
        REQUIRE(book.add_log_entry(entry));
        const std::vector<Mark> marks{{.time_s = 2.5, .spot = "7", .extra = {}, .line = 0},
                                      {.time_s = 1.5, .spot = "3", .extra = {}, .line = 0}};
        const auto r = book.import_recording(visit, RecordingKind::bay, tone_file(folder, "bay 1.wav", 3.0), 1, marks);
        REQUIRE(r);
        recording = r.value();
        const auto late = book.add_mark(recording, 2.75, "9", true);
        REQUIRE(late);
        REQUIRE(book.withdraw_mark(late.value()));
        CaseResult made;
        made.visit = visit;
        made.kind = "idle";
        made.engine = book.engine().value().id;
        made.map = book.map().value()->id;
        made.settings = {{"channel", 1}};
        made.figures = {{"rpm", 850.125}, {"spread_rpm", nullptr}};
        made.sources = {{recording, "bay", -3.0}};
        const auto stored = book.add_result(made, trace);
        REQUIRE(stored);
        result = stored.value();
        REQUIRE(book.add_note(visit, "the hose at 7 is cracked"));
        REQUIRE(book.add_note({}, "bought in May"));
    }
    auto opened = Casebook::open(folder.path("marlow"), Casebook::Access::read);
    REQUIRE(opened);
    const auto& book = opened.value();
    CHECK(book.car().value().name == "Marlow");
    CHECK(book.car().value().program == "idlehark " IDLEHARK_VERSION);
    CHECK(book.engine().value().engine.firing_order == example_engine().firing_order);
    REQUIRE(book.map().value().has_value());
    CHECK(book.map().value()->map.spots.size() == example_map().spots.size());

    const auto visits = book.visits();
    REQUIRE(visits);
    REQUIRE(visits.value().size() == 1);
    const auto& v = visits.value()[0];
    CHECK(v.id == visit);
    CHECK(v.date == "2026-05-30");
    CHECK(v.title == "before");
    CHECK(v.warmth == Warmth::warm);
    CHECK(v.device == "telephone");
    CHECK(v.gain == "manual, 40 %");
    CHECK(v.note == "rain");
    REQUIRE(book.gate_answers(visit).value().size() == 1);
    CHECK(book.gate_answers(visit).value()[0].answer == "no");

    const auto log = book.log();
    REQUIRE(log);
    REQUIRE(log.value().size() == 1);
    CHECK(log.value()[0].low == 2.5);
    CHECK(log.value()[0].high == 3.2);
    CHECK(log.value()[0].reading == 2.9);
    CHECK(log.value()[0].state == LogState::ok);

    const auto recordings = book.recordings(visit);
    REQUIRE(recordings);
    REQUIRE(recordings.value().size() == 1);
    const auto& r = recordings.value()[0];
    CHECK(r.id == recording);
    CHECK(r.file == "bay-1.flac");
    CHECK(r.original_name == "bay 1.wav");
    CHECK(r.frames == 48000);
    CHECK(r.sample_rate_hz == 16000.0);
    CHECK_FALSE(r.running);
    const auto marks = book.marks(recording);
    REQUIRE(marks);
    REQUIRE(marks.value().size() == 3);
    CHECK(marks.value()[0].spot == "3");
    CHECK(marks.value()[1].spot == "7");
    CHECK(marks.value()[1].time_s == 2.5);
    CHECK(marks.value()[2].withdrawn);
    CHECK(marks.value()[2].heard);

    const auto results = book.results(visit);
    REQUIRE(results);
    REQUIRE(results.value().size() == 1);
    const auto& made = results.value()[0];
    CHECK(made.id == result);
    CHECK(made.program == "idlehark " IDLEHARK_VERSION);
    CHECK(made.figures == Json{{"rpm", 850.125}, {"spread_rpm", nullptr}});
    CHECK(made.settings == Json{{"channel", 1}});
    CHECK(made.map.has_value());
    REQUIRE(made.sources.size() == 1);
    CHECK(made.sources[0].label == "bay");
    CHECK(made.sources[0].gain_db == -3.0);
    const auto readings = book.trace(result);
    REQUIRE(readings);
    REQUIRE(readings.value().size() == 3);
    CHECK(readings.value()[0].rpm == 850.25);
    CHECK_FALSE(readings.value()[1].locked);
    CHECK(std::isnan(readings.value()[1].rpm));
    CHECK(readings.value()[2].rpm_high == 853.0);
    CHECK(book.notes().value().size() == 2);
}

TEST_CASE("Casebook: what the case cannot hold is refused, and nothing of it is stored", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    CHECK_FALSE(book.add_visit({.date = "yesterday", .title = "x"}));
    CHECK_FALSE(book.add_visit({.date = "2026-13-01", .title = "x"}));
    CHECK_FALSE(book.add_visit({.date = "2026-05-30T25:00", .title = "x"}));
    for (const auto* no_day : {"2026-02-29", "2026-02-31", "2026-04-31", "2026-00-10", "2026-05-00"})
        CHECK_FALSE(book.add_visit({.date = no_day, .title = "x"}));
    CHECK_FALSE(book.add_visit({.date = "2026-05-30", .title = ""}));
    CHECK_FALSE(book.add_visit({.date = "2026-05-30", .title = std::string(201, 'x')}));
    CHECK(book.visits().value().empty());
    CHECK_FALSE(book.answer_gate(17, "q", "a"));  // no such visit
    CHECK_FALSE(book.add_mark(5, 1.0, "7"));      // no such recording
    const auto visit = book.add_visit({.date = "2026-05-30T10:00", .title = "one"});
    REQUIRE(visit);
    CHECK_FALSE(book.import_recording(visit.value(), RecordingKind::bay, folder.path("none.wav"), 1, {}));
    CHECK_FALSE(book.import_recording(9, RecordingKind::bay, tone_file(folder, "a.wav", 1.0), 1, {}));
    CHECK_FALSE(book.import_recording(visit.value(), RecordingKind::bay, folder.path("a.wav"), 2, {}));
    CHECK(book.recordings().value().empty());
    CHECK(book.folder().files("audio").empty());
    LogEntry upside_down;
    upside_down.name = "fuel pressure";
    upside_down.low = 3.0;
    upside_down.high = 2.0;
    CHECK_FALSE(book.add_log_entry(upside_down));
    for (const double x : {std::nan(""), HUGE_VAL, -HUGE_VAL})
        for (auto LogEntry::*number : {&LogEntry::low, &LogEntry::high, &LogEntry::reading}) {
            LogEntry endless;
            endless.name = "fuel pressure";
            endless.*number = x;
            CHECK_FALSE(book.add_log_entry(endless));
        }
    LogEntry elsewhere;
    elsewhere.name = "fuel pressure";
    elsewhere.visit = 99;
    const auto picture = folder.file("a.jpg", std::string{"\xff\xd8\xff\xda\x00\x04xx\x01\xff\xd9", 11});
    for (const auto& refused :
         {book.add_log_entry(elsewhere), book.add_note(99, "x"), book.add_picture(99, picture, "")}) {
        REQUIRE_FALSE(refused);
        CHECK(refused.error().what == book.visit(99).error().what);
    }
    CHECK(book.log().value().empty());
    CHECK(book.notes().value().empty());
    CHECK(book.folder().files("pictures").empty());
    CaseResult of_nothing;
    of_nothing.visit = visit.value();
    of_nothing.kind = "idle";
    of_nothing.engine = 1;
    of_nothing.sources = {{77, "", 0.0}};
    CHECK_FALSE(book.add_result(of_nothing, {}));
    CHECK(book.results().value().empty());  // the row before the missing recording went back too
    const auto again = Casebook::create(folder.path("c"), "again", example_engine(), {});
    REQUIRE_FALSE(again);
    CHECK_THAT(again.error().what, Contains("holds a case already"));
}

TEST_CASE("Casebook: a new case writes over no engine and no map of the user's", "[casebook]") {
    namespace fs = std::filesystem;
    for (const std::string name : {"engine.json", "map.json"}) {
        CAPTURE(name);
        const ScratchFolder folder;
        const auto own = folder.file(name, "typed in for an hour");
        const auto made = Casebook::create(folder.path(""), "Marlow", example_engine(), example_map());
        REQUIRE_FALSE(made);
        CHECK_THAT(made.error().what, Contains("holds " + name + " already"));
        CHECK(test::slurp(own) == "typed in for an hour");
        CHECK_FALSE(fs::exists(folder.path("case.sqlite")));
        CHECK_FALSE(fs::exists(folder.path("audio")));
    }
}

TEST_CASE("Casebook: an engine or map whose copy cannot be written is not taken", "[casebook]") {
    namespace fs = std::filesystem;
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    auto engine = example_engine();
    engine.name = "another";
    auto map = example_map();
    map.name = "another";
    for (const auto* copy : {"c/engine.json", "c/map.json"}) {
        fs::remove(folder.path(copy));
        fs::create_directories(folder.path(copy) + "/in the way");
    }
    CHECK_FALSE(book.set_engine(engine));
    CHECK_FALSE(book.set_map(map));
    CHECK(book.engine().value().engine.name == example_engine().name);
    CHECK(book.map().value()->map.name == example_map().name);
    for (const auto* left : {"c/engine.json.part", "c/map.json.part"}) CHECK_FALSE(fs::exists(folder.path(left)));
    for (const auto* copy : {"c/engine.json", "c/map.json"}) fs::remove_all(folder.path(copy));
    CHECK(book.set_engine(engine));
    CHECK(book.set_map(map));
}

TEST_CASE("Casebook: recordings keep every sample, as FLAC where that holds them", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto [format, stored] = GENERATE(table<int, std::string>({{SF_FORMAT_WAV | SF_FORMAT_PCM_U8, "x.flac"},
                                                                    {SF_FORMAT_WAV | SF_FORMAT_PCM_16, "x.flac"},
                                                                    {SF_FORMAT_WAV | SF_FORMAT_PCM_24, "x.flac"},
                                                                    {SF_FORMAT_AIFF | SF_FORMAT_PCM_24, "x.flac"},
                                                                    {SF_FORMAT_WAV | SF_FORMAT_PCM_32, "x.wav"},
                                                                    {SF_FORMAT_WAV | SF_FORMAT_FLOAT, "x.wav"},
                                                                    {SF_FORMAT_OGG | SF_FORMAT_VORBIS, "x.ogg"}}));
    CAPTURE(format);
    const auto ending = (format & SF_FORMAT_TYPEMASK) == SF_FORMAT_AIFF  ? "x.aiff"
                        : (format & SF_FORMAT_TYPEMASK) == SF_FORMAT_OGG ? "x.ogg"
                                                                         : "x.wav";
    const auto path = test::stereo_file(folder, ending, format);
    const auto id = book.import_recording(visit.value(), RecordingKind::bay, path, 2, {});
    REQUIRE(id);
    const auto row = book.recording(id.value());
    REQUIRE(row);
    CHECK(row.value().file == stored);
    CHECK(row.value().channels == 2);
    CHECK(row.value().channel == 2);
    const auto kept = book.audio_path(row.value());
    REQUIRE(kept);
    for (const int channel : {1, 2}) {
        const auto before = read_sound(path, channel);
        const auto after = read_sound(kept.value(), channel);
        REQUIRE(before);
        REQUIRE(after);
        REQUIRE(before.value().samples.size() > 1000);
        CHECK(before.value().samples == after.value().samples);
    }
}

TEST_CASE("Casebook: a recording's gaps come along, the device's name stays in the case's tables", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    {
        RecordingSettings settings;
        settings.device = "Ann's telephone";
        settings.sample_rate_hz = 16000.0;
        settings.started_at = "2026-05-30T10:11:12";
        auto recorder = Recorder::create(folder.path("bay.flac"), settings);
        REQUIRE(recorder);
        const std::vector<std::int32_t> quiet(8000, 256);
        REQUIRE(recorder.value().write(quiet));
        REQUIRE(recorder.value().gap(77));
        REQUIRE(recorder.value().write(quiet));
        REQUIRE(recorder.value().finish("stopped"));
    }
    const auto id = book.import_recording(visit.value(), RecordingKind::bay, folder.path("bay.flac"), 1, {});
    REQUIRE(id);
    const auto gaps = book.gaps(id.value());
    REQUIRE(gaps);
    REQUIRE(gaps.value().size() == 1);
    CHECK(gaps.value()[0].frame == 8000);
    CHECK(gaps.value()[0].lost_frames == 77);
    const auto row = book.recording(id.value());
    REQUIRE(row);
    CHECK(row.value().started_at == "2026-05-30T10:11:12");
    CHECK(row.value().device == "Ann's telephone");
    const auto beside = read_gaps(book.audio_path(row.value()).value());
    REQUIRE(beside.size() == 1);
    CHECK(beside[0].frame == 8000);
    for (const auto& name : book.folder().files("audio"))
        CHECK(test::slurp(folder.path("c/audio/" + name)).find("Ann") == std::string::npos);
}

TEST_CASE("Casebook: a recording in progress is noted before its first sample", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto running = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "telephone");
    REQUIRE(running);
    CHECK(book.recording(running.value().id).value().running);
    RecordingSettings settings;
    settings.sample_rate_hz = 16000.0;
    auto recorder = Recorder::create(running.value().path, settings);
    REQUIRE(recorder);
    REQUIRE(recorder.value().write(std::vector<std::int32_t>(16000, 512)));
    REQUIRE(book.add_mark(running.value().id, 0.5, "7"));
    {
        MarksJournal journal{recorder.value().names().marks};
        REQUIRE(journal.mark(0.5, "7"));  // noted in both places
        REQUIRE(journal.mark(0.75, "9"));
    }
    REQUIRE(recorder.value().finish("stopped"));
    REQUIRE(book.finish_recording(running.value().id));
    REQUIRE(book.finish_recording(running.value().id));  // once more does nothing
    const auto row = book.recording(running.value().id);
    REQUIRE(row);
    CHECK_FALSE(row.value().running);
    CHECK(row.value().frames == 16000);
    const auto marks = book.marks(running.value().id);
    REQUIRE(marks);
    REQUIRE(marks.value().size() == 2);
    CHECK(marks.value()[0].spot == "7");
    CHECK(marks.value()[1].spot == "9");
    const auto second = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
    REQUIRE(second);
    CHECK(second.value().path == folder.path("c/audio/bay-2.flac"));
}

TEST_CASE("Casebook: results keep the engine they were made with, the latest ones are found", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto a = book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "a.wav", 1.0), 1, {});
    const auto b = book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "b.wav", 1.0), 1, {});
    REQUIRE(a);
    REQUIRE(b);
    const auto first_engine = book.engine().value().id;
    auto changed = example_engine();
    changed.idle_low_rpm = 640.0;
    CaseResult r;
    r.visit = visit.value();
    r.kind = "idle";
    r.engine = first_engine;
    r.sources = {{a.value(), "", 0.0}};
    REQUIRE(book.add_result(r, {}));
    REQUIRE(book.set_engine(changed));
    CHECK(book.engine().value().engine.idle_low_rpm == 640.0);
    r.engine = book.engine().value().id;
    const auto newer = book.add_result(r, {});
    r.sources = {{b.value(), "", 0.0}};
    const auto other = book.add_result(r, {});
    REQUIRE(newer);
    REQUIRE(other);
    const auto latest = book.latest_results(visit.value());
    REQUIRE(latest);
    REQUIRE(latest.value().size() == 2);
    CHECK(latest.value()[0].id == newer.value());
    CHECK(latest.value()[1].id == other.value());
    const auto all = book.results();
    REQUIRE(all);
    REQUIRE(all.value().size() == 3);
    CHECK(book.engine(all.value()[0].engine).value().engine.idle_low_rpm == example_engine().idle_low_rpm);
}

TEST_CASE("Casebook: no text can move a terminal's cursor or break the JSON", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const std::string hostile =
        "a\x1b[2J\x07"
        "b\xff\xc3(\xe2\x80\xae"
        "c\r\"<script>";
    const auto visit = book.add_visit({.date = "2026-05-30", .title = hostile, .note = hostile});
    REQUIRE(visit);
    REQUIRE(book.add_note({}, hostile));
    const auto text = case_table(book, {});
    REQUIRE(text);
    for (const char c : text.value()) CHECK((c == '\n' || static_cast<unsigned char>(c) >= 0x20));
    CHECK_THAT(text.value(), Contains("a[2Jb\xef\xbf\xbd\xef\xbf\xbd(c\"<script>"));
    const auto json = case_json(book, {});
    REQUIRE(json);
    CHECK_NOTHROW(json.value().dump());
}
