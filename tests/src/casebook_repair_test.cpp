#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/check.hpp"
#include "src/casebook/database.hpp"
#include "src/casebook/repair.hpp"
#include "src/casebook/schema.hpp"
#include "tests/src/casebook_support.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <numeric>
#include <random>
#include <set>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::new_case;
using test::ScratchFolder;
using test::tone_file;

namespace {

namespace fs = std::filesystem;
constexpr int kVisits = 40;
constexpr int kMarks = 60;
constexpr std::size_t kPage_bytes = 4096;

/// Forty visits with a recording row and sixty marks each, every other with a result; one sound file for all rows would
/// break UNIQUE, so only the first has its own file.
void fill(const std::string& place, const ScratchFolder& folder) {
    auto book = new_case(place);
    const auto first = book.add_visit({.date = "2026-01-01", .title = "visit 1", .note = "note 1"});
    REQUIRE(first);
    REQUIRE(book.import_recording(first.value(), RecordingKind::bay, tone_file(folder, "a.wav", 0.5), 1, {}));
    auto& db = book.tables();
    Transaction all{db};
    for (int v = 2; v <= kVisits; ++v) {
        Statement{db, "INSERT INTO visit (id, date, title, note) VALUES (?, '2026-01-01', ?, ?)"}
            .with(RowId{v})
            .with(fmt::format("visit {}", v))
            .with(fmt::format("note {}", v))
            .run();
        Statement{db,
                  "INSERT INTO recording (visit_id, kind, file, state, added_at) VALUES (?, 'bay', ?, 'running', '')"}
            .with(RowId{v})
            .with(fmt::format("r{}.flac", v))
            .run();
    }
    for (int m = 0; m < kVisits * kMarks; ++m)
        Statement{db, "INSERT INTO mark (recording_id, time_s, spot, added_at) VALUES (?, ?, ?, '')"}
            .with(RowId{1 + m % kVisits})
            .with(m * 0.25)
            .with(fmt::format("spot {}", m))
            .run();
    for (int v = 1; v <= kVisits; v += 2) {
        Statement{db,
                  "INSERT INTO result (visit_id, kind, program, made_at, engine_id, settings, outcome, figures) "
                  "VALUES (?, 'idle', 'idlehark', '', 1, '{}', 'answer', ?)"}
            .with(RowId{v})
            .with(fmt::format("{{\"rpm\":{}}}", 800 + v))
            .run();
        const auto id = db.last_row();
        Statement{db, "INSERT INTO result_recording VALUES (?, 0, ?, '', 0)"}.with(id).with(RowId{v}).run();
        Statement{db, "INSERT INTO trace VALUES (?, ?)"}.with(id).with_bytes(std::string(16000, 'x')).run();
    }
    all.commit();
}

/// What must never happen: a row that comes back changed.
void must_be_true(const Casebook& book) {
    const auto visits = book.visits();
    REQUIRE(visits);
    for (const auto& v : visits.value()) {
        if (v.title == "found by repair") continue;
        CHECK(v.title == fmt::format("visit {}", v.id));
        CHECK(v.note == fmt::format("note {}", v.id));
    }
    Statement marks{book.tables(), "SELECT id, time_s, spot FROM mark"};
    while (marks.step()) {
        CHECK(marks.number(1) == (static_cast<double>(marks.whole(0)) - 1) * 0.25);
        CHECK(marks.text(2) == fmt::format("spot {}", marks.whole(0) - 1));
    }
    const auto results = book.results();
    REQUIRE(results);
    for (const auto& r : results.value()) CHECK(r.figures.at("rpm").get<int>() == 800 + static_cast<int>(r.visit));
    CHECK(book.tables().text("PRAGMA integrity_check") == "ok");
    CHECK(book.tables().whole("SELECT count(*) FROM pragma_foreign_key_check") == 0);
}

const RepairedPart& part(const RepairReport& report, std::string_view name) {
    const auto at =
        std::find_if(report.parts.begin(), report.parts.end(), [&](const auto& p) { return p.name == name; });
    REQUIRE(at != report.parts.end());
    return *at;
}

/// The pages that belong to a table (not its indexes), from 1.
std::vector<std::size_t> pages_of(const std::string& place, const std::string& table) {
    // A page of a table differs from the same page of a copy in which the table was emptied with secure deletion.
    std::vector<std::size_t> pages;
    const auto copy = place + "/emptied.sqlite";
    fs::copy_file(place + "/case.sqlite", copy);
    {
        Database db{copy, Database::Mode::read_write};
        db.execute("PRAGMA foreign_keys=OFF; PRAGMA secure_delete=ON; PRAGMA journal_mode=DELETE;");
        for (const auto* index : {"mark_of_recording"})
            if (table == "mark") db.execute(fmt::format("DROP INDEX {};", index));
    }
    const auto before = test::slurp(copy);
    {
        Database db{copy, Database::Mode::read_write};
        db.execute("PRAGMA foreign_keys=OFF; PRAGMA secure_delete=ON;");
        db.execute(fmt::format("DELETE FROM {};", table));
    }
    const auto after = test::slurp(copy);
    for (std::size_t p = 1; p < before.size() / kPage_bytes; ++p)
        if (before.compare(p * kPage_bytes, kPage_bytes, after, p * kPage_bytes, kPage_bytes) != 0 &&
            static_cast<unsigned char>(before[p * kPage_bytes]) == 0x0d)  // a leaf of a table
            pages.push_back(p);
    fs::remove(copy);
    return pages;
}

void spoil(const std::string& file, std::size_t from, std::size_t count, unsigned seed) {
    std::mt19937 random{seed};
    std::fstream f{file, std::ios::in | std::ios::out | std::ios::binary};
    f.seekp(static_cast<std::streamoff>(from));
    for (std::size_t i = 0; i < count; ++i) f.put(static_cast<char>(random() & 0xffU));
}

}  // namespace

TEST_CASE("Repair: a sound case stays as it is", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto before = test::slurp(place + "/case.sqlite");
    const auto report = repair_case(place);
    REQUIRE(report);
    CHECK_FALSE(report.value().rebuilt);
    CHECK(report.value().actions.empty());
    CHECK(report.value().faults.empty());
    CHECK(test::slurp(place + "/case.sqlite") == before);
}

TEST_CASE("Repair: a spoilt page of marks costs the marks in it and nothing else", "[casebook]") {
    const unsigned seed = GENERATE(11U, 12U, 13U);
    const ScratchFolder folder;
    const auto place = folder.path("c");
    fill(place, folder);
    const auto pages = pages_of(place, "mark");
    REQUIRE(pages.size() > 10);
    const auto page = pages[seed % pages.size()];
    CAPTURE(seed, page);
    spoil(place + "/case.sqlite", page * kPage_bytes, kPage_bytes, seed);
    const auto damaged = test::slurp(place + "/case.sqlite");

    const auto report = repair_case(place);
    REQUIRE(report);
    CHECK(report.value().rebuilt);
    CHECK(test::slurp(place + "/" + report.value().kept_damaged) == damaged);
    const auto& marks = part(report.value(), "mark");
    const std::size_t in_a_page = 2 * kVisits * kMarks / pages.size();
    CHECK(marks.kept >= kVisits * kMarks - in_a_page);
    CHECK(marks.kept < kVisits * kMarks);
    CHECK(marks.kept + marks.lost >= kVisits * kMarks);  // nothing goes without being counted
    CHECK(part(report.value(), "visit").kept == kVisits);
    CHECK(part(report.value(), "result").kept == kVisits / 2);
    CHECK(part(report.value(), "trace").kept == kVisits / 2);
    CHECK_THAT(repair_table(report.value()), Contains("mark") && Contains("lost"));

    const auto book = Casebook::open(place, Casebook::Access::write);
    REQUIRE(book);
    must_be_true(book.value());
    CHECK(book.value().engine());
    const auto again = repair_case(place);
    REQUIRE(again);
    CHECK_FALSE(again.value().rebuilt);
}

TEST_CASE("Repair: what belonged to lost visits and engines is kept", "[casebook]") {
    const auto* table = GENERATE("visit", "engine", "recording");
    const ScratchFolder folder;
    const auto place = folder.path("c");
    fill(place, folder);
    const auto pages = pages_of(place, table);
    REQUIRE_FALSE(pages.empty());
    for (const auto page : pages) spoil(place + "/case.sqlite", page * kPage_bytes, kPage_bytes, 5);
    const auto report = repair_case(place);
    REQUIRE(report);
    CAPTURE(table, repair_table(report.value()));
    CHECK(report.value().rebuilt);
    CHECK(part(report.value(), "mark").kept == kVisits * kMarks);
    CHECK(part(report.value(), "result").kept == kVisits / 2);
    const auto book = Casebook::open(place, Casebook::Access::write);
    REQUIRE(book);
    must_be_true(book.value());
    CHECK(book.value().engine().value().engine.firing_order == test::example_engine().firing_order);
    const auto visits = book.value().visits();
    REQUIRE(visits);
    for (const auto& v : visits.value()) CHECK(book.value().recordings(v.id));
}

TEST_CASE("Repair: a table whose root is spoilt is put together again from its leaves", "[casebook]") {
    const auto* table = GENERATE("mark", "trace", "recording");
    const ScratchFolder folder;
    const auto place = folder.path("c");
    fill(place, folder);
    RowId root = 0;
    {
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        root = db.whole(fmt::format("SELECT rootpage FROM sqlite_schema WHERE name = '{}'", table));
        db.execute("PRAGMA wal_checkpoint(TRUNCATE);");
    }
    REQUIRE(root > 1);
    spoil(place + "/case.sqlite", static_cast<std::size_t>(root - 1) * kPage_bytes, kPage_bytes, 9);
    const auto report = repair_case(place);
    REQUIRE(report);
    CAPTURE(table, repair_table(report.value()));
    CHECK(part(report.value(), "mark").kept == kVisits * kMarks);
    CHECK(part(report.value(), "trace").kept == kVisits / 2);
    CHECK(part(report.value(), "visit").kept == kVisits);
    const auto book = Casebook::open(place, Casebook::Access::write);
    REQUIRE(book);
    must_be_true(book.value());
    CHECK(book.value().trace(1).value().size() == 1000);
}

TEST_CASE("Repair: random damage anywhere never stops it, and nothing comes back changed", "[casebook]") {
    const unsigned seed = GENERATE(31U, 32U, 33U, 34U, 35U, 36U, 37U, 38U);
    const ScratchFolder folder;
    const auto place = folder.path("c");
    fill(place, folder);
    const auto file = place + "/case.sqlite";
    std::mt19937 random{seed};
    const auto size = fs::file_size(file);
    for (int hit = 0; hit < 6; ++hit)
        spoil(file, kPage_bytes + random() % (size - 2 * kPage_bytes), 1 + random() % 3000, seed + 100);
    CAPTURE(seed);
    const auto report = repair_case(place);
    REQUIRE(report);
    CAPTURE(repair_table(report.value()));
    const auto book = Casebook::open(place, Casebook::Access::write);
    REQUIRE(book);
    // Damage inside a text is damage that no structure shows; everything else must be true.
    CHECK(book.value().tables().text("PRAGMA integrity_check") == "ok");
    CHECK(book.value().tables().whole("SELECT count(*) FROM pragma_foreign_key_check") == 0);
    std::set<RowId> ids;
    Statement marks{book.value().tables(), "SELECT id, time_s FROM mark"};
    std::size_t changed = 0;
    while (marks.step())
        if (marks.number(1) != (static_cast<double>(marks.whole(0)) - 1) * 0.25) ++changed;
    CHECK(changed < 200);
    CHECK(report.value().parts.size() == schema::tables().size());
    const auto& of_marks = part(report.value(), "mark");
    CHECK(of_marks.kept + of_marks.lost >= kVisits * kMarks);
}

TEST_CASE("Repair: a file that lost its end, its beginning or everything still gives a case with its audio",
          "[casebook]") {
    const auto* what = GENERATE("end", "beginning", "everything", "file");
    const ScratchFolder folder;
    const auto place = folder.path("c");
    fill(place, folder);
    const auto file = place + "/case.sqlite";
    if (what == std::string_view{"end"}) fs::resize_file(file, fs::file_size(file) / 2);
    if (what == std::string_view{"beginning"}) spoil(file, 0, 4096, 3);
    if (what == std::string_view{"everything"}) spoil(file, 0, fs::file_size(file), 3);
    if (what == std::string_view{"file"}) fs::remove(file);
    fs::last_write_time(place + "/audio/a.flac", fs::file_time_type::clock::now() - std::chrono::hours{1});
    const auto report = repair_case(place);
    REQUIRE(report);
    CAPTURE(what, repair_table(report.value()));
    CHECK(report.value().rebuilt);
    const auto book = Casebook::open(place, Casebook::Access::write);
    REQUIRE(book);
    if (what == std::string_view{"beginning"}) {
        CHECK(part(report.value(), "mark").kept == kVisits * kMarks);
        CHECK(part(report.value(), "visit").kept == kVisits);
        CHECK(part(report.value(), "result").kept == kVisits / 2);
        must_be_true(book.value());
    }
    if (what == std::string_view{"end"}) {
        CHECK(part(report.value(), "mark").kept > kVisits * kMarks / 4);
        must_be_true(book.value());
    }
    CHECK(book.value().engine().value().engine.firing_order == test::example_engine().firing_order);
    CHECK(book.value().map().value().has_value());
    const auto recordings = book.value().recordings();
    REQUIRE(recordings);
    CHECK(std::any_of(recordings.value().begin(), recordings.value().end(),
                      [](const CaseRecording& r) { return r.file == "a.flac" && r.frames == 8000; }));
    CHECK(book.value().tables().text("PRAGMA integrity_check") == "ok");
}

TEST_CASE("Repair: closes recordings that were cut off and takes in sound that no row names", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    {
        auto book = new_case(place);
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
        REQUIRE(visit);
        const auto running = book.begin_recording(visit.value(), RecordingKind::bay, "cut.flac", 1, "");
        REQUIRE(running);
        RecordingSettings settings;
        settings.sample_rate_hz = 16000.0;
        auto recorder = Recorder::create(running.value().path, settings);
        REQUIRE(recorder);
        REQUIRE(recorder.value().write(std::vector<std::int32_t>(32000, 256)));
        MarksJournal journal{recorder.value().names().marks};
        REQUIRE(journal.mark(0.75, "9"));
    }
    fs::copy_file(tone_file(folder, "stray.wav", 1.0), place + "/audio/stray.wav");
    static_cast<void>(folder.file("c/audio/stray.marks.csv", "time_s,spot\n0.5,7\n"));
    static_cast<void>(folder.file("c/audio/half.flac.part", "xyz"));
    static_cast<void>(folder.file("c/audio/no-sound.wav", "xyz"));
    {
        const auto book = Casebook::open(place, Casebook::Access::read);
        REQUIRE(book);
        const auto checked = check_case(book.value(), CheckDepth::files, {});
        REQUIRE(checked);
        CHECK_FALSE(checked.value().sound());
        CHECK_THAT(check_table(checked.value()), Contains("audio/stray.wav is not in the case") &&
                                                     Contains("never closed") && Contains("half.flac.part"));
    }
    SECTION("what may be in the making is left alone") {
        const auto report = repair_case(place);
        REQUIRE(report);
        const auto book = Casebook::open(place, Casebook::Access::read);
        CHECK(book.value().recordings().value()[0].running);
        CHECK(fs::exists(place + "/audio/half.flac.part"));
    }
    for (const auto& entry : fs::directory_iterator{place + "/audio"})
        fs::last_write_time(entry.path(), fs::file_time_type::clock::now() - std::chrono::hours{1});
    const auto report = repair_case(place);
    REQUIRE(report);
    CAPTURE(repair_table(report.value()));
    CHECK_FALSE(report.value().rebuilt);
    REQUIRE(report.value().faults.size() == 1);
    CHECK_THAT(report.value().faults[0], Contains("no-sound.wav"));
    const auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    const auto recordings = book.value().recordings();
    REQUIRE(recordings);
    REQUIRE(recordings.value().size() == 2);
    CHECK_FALSE(recordings.value()[0].running);
    CHECK(recordings.value()[0].frames > 16000);
    CHECK(book.value().marks(recordings.value()[0].id).value().size() == 1);
    CHECK(recordings.value()[1].file == "stray.wav");
    CHECK(book.value().marks(recordings.value()[1].id).value()[0].spot == "7");
    CHECK_FALSE(fs::exists(place + "/audio/half.flac.part"));
}

TEST_CASE("Repair: a recording that never began is told, its name is not given again, and its note is taken back",
          "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    auto book = new_case(place);
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto failed = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
    REQUIRE(failed);
    const auto marked = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
    REQUIRE(marked);
    CHECK(fs::path{marked.value().path}.filename() == "bay-2.flac");
    REQUIRE(book.add_mark(marked.value().id, 1.0, "7"));
    const auto spoken_of = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
    REQUIRE(spoken_of);
    static_cast<void>(folder.file("c/audio/bay-3.events.csv", "time_s,frame,event,detail\n0.000,0,start,mic\n"));
    const auto taken_in =
        book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "bay.wav", 0.5), 1, {});
    REQUIRE(taken_in);
    CHECK(book.recording(taken_in.value()).value().file == "bay-4.flac");

    const auto checked = check_case(book, CheckDepth::files, {});
    REQUIRE(checked);
    CHECK(checked.value().faults.size() == 2);  // of the other two something is there, but no sound
    CHECK_THAT(check_table(checked.value()), Contains("note: recording 1 (audio/bay.flac) never began"));
    CHECK_FALSE(book.withdraw_recording(marked.value().id));
    CHECK_FALSE(book.withdraw_recording(spoken_of.value().id));
    CHECK_FALSE(book.withdraw_recording(taken_in.value()));

    const auto too_early = repair_case(place);  // another program may just be opening its microphone
    REQUIRE(too_early);
    CHECK_THAT(repair_table(too_early.value()), Contains("recording 1: is beginning, left alone"));
    CHECK(book.recordings().value().size() == 4);
    book.tables().execute("UPDATE recording SET started_at = '2026-05-30T10:00:00'");
    const auto report = repair_case(place);
    REQUIRE(report);
    CHECK_THAT(repair_table(report.value()), Contains("recording 1: never began, its note is taken back"));
    CHECK(report.value().faults.size() == 2);
    const auto left = book.recordings().value();
    REQUIRE(left.size() == 3);
    CHECK(left[0].id == marked.value().id);
    const auto again = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
    REQUIRE(again);
    CHECK(fs::path{again.value().path}.filename() == "bay.flac");
    CHECK(again.value().id == 5);  // a number is never given twice
    CHECK(book.withdraw_recording(again.value().id));
}

TEST_CASE("Repair: a note that was taken back is not called lost for sure", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    {
        auto book = new_case(place);
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
        REQUIRE(visit);
        const auto failed = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
        REQUIRE(failed);
        REQUIRE(book.withdraw_recording(failed.value().id));
        book.tables().execute("PRAGMA user_version = 99999");  // damage
    }
    const auto report = repair_case(place);
    REQUIRE(report);
    CHECK(report.value().rebuilt);
    CHECK_THAT(repair_table(report.value()), Contains("recording") && Contains("0 kept, 1 lost or taken back"));
}

TEST_CASE("Repair: sound that no row names is taken in with the channel that its settings name", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    auto book = new_case(place);
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    fs::create_directories(place + "/audio");
    const auto channel_by = [&](const std::string& name, const std::string& settings) {
        fs::copy_file(test::stereo_file(folder, name + ".wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16),
                      place + "/audio/" + name + ".wav");
        static_cast<void>(folder.file("c/audio/" + name + ".settings.json", settings));
        std::string unread;
        const auto id = book.adopt_recording(visit.value(), name + ".wav", unread);
        REQUIRE(id);
        return book.recording(id.value()).value().channel;
    };
    CHECK(channel_by("second", R"({"microphone_channel": 2, "device": "two microphones"})") == 2);
    CHECK(channel_by("beyond", R"({"microphone_channel": 5})") == 1);  // it has two
    CHECK(channel_by("word", R"({"microphone_channel": "left"})") == 1);
    CHECK(channel_by("silent", "{}") == 1);
}

TEST_CASE("Case: a picture whose file is gone keeps its name", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const std::string jpeg{"\xff\xd8\xff\xda\x00\x04xx\x01\xff\xd9", 11};
    const auto photo = folder.file("bay.jpg", jpeg);
    REQUIRE(book.add_picture({}, photo, ""));
    fs::remove(folder.path("c/pictures/bay.jpg"));
    const auto second = book.add_picture({}, photo, "");
    if (!second) FAIL(second.error().what);
    CHECK(book.pictures().value()[1].file == "bay-2.jpg");
}

TEST_CASE("Repair: marks that cannot be read are told, and those around them are taken", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    auto book = new_case(place);
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto cut_off = [&](const char* marks) {
        const auto running = book.begin_recording(visit.value(), RecordingKind::bay, "bay.wav", 1, "");
        REQUIRE(running);
        fs::copy_file(tone_file(folder, "tone.wav", 1.0), running.value().path);
        const auto name = fs::path{running.value().path}.stem().string();
        static_cast<void>(folder.file("c/audio/" + name + ".marks.csv", marks));
        return running.value().id;
    };
    const auto spots = [&](RowId id) {
        std::string text;
        const auto marks = book.marks(id);
        REQUIRE(marks);
        for (const auto& m : marks.value()) text += m.spot + " ";
        return text;
    };
    const auto headless = cut_off("0.250,7\n0.500,9\n");
    const auto closed = book.finish_recording(headless);
    REQUIRE(closed);
    CHECK(closed.value().empty());
    CHECK(spots(headless) == "7 9 ");
    const auto torn = cut_off("time_s,spot\n0.250,7\n0.\n0.750,3\n");
    const auto told = book.finish_recording(torn);
    REQUIRE(told);
    CHECK(told.value() == "bay-2.marks.csv: line 3 is not read as a mark");
    CHECK(spots(torn) == "7 3 ");
    const auto checked = check_case(book, CheckDepth::files, {});
    REQUIRE(checked);
    CHECK(checked.value().sound());
    CHECK_THAT(check_table(checked.value()), Contains("note: recording 2: bay-2.marks.csv: line 3"));

    const auto third = cut_off("time_s,spot\n0.250,\n0.5,9\n");
    fs::copy_file(folder.path("tone.wav"), place + "/audio/stray.wav");
    static_cast<void>(folder.file("c/audio/stray.marks.csv", "spot;time_s\n"));
    for (const auto& entry : fs::directory_iterator{place + "/audio"})
        fs::last_write_time(entry.path(), fs::file_time_type::clock::now() - std::chrono::hours{1});
    const auto report = repair_case(place);
    REQUIRE(report);
    const auto table = repair_table(report.value());
    CHECK_THAT(table, Contains("recording 3: closed") && Contains("stays lost: recording 3: bay-3.marks.csv: line 2"));
    CHECK_THAT(table,
               Contains("stray.wav: taken in") && Contains("stays lost: audio/stray.wav: stray.marks.csv: line 1"));
    CHECK(spots(third) == "9 ");
}
