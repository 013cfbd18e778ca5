#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/check.hpp"
#include "src/casebook/database.hpp"
#include "src/casebook/measure.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/casebook/repair.hpp"
#include "src/casebook/schema.hpp"
#include "src/practice/practice_bay.hpp"
#include "tests/src/casebook_support.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::new_case;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

namespace fs = std::filesystem;

/// A case made by the commands alone: a short spray test on three spots.
std::string practised(const ScratchFolder& folder) {
    const auto bay = folder.path("bay");
    PracticeRequest request;
    request.seed = 41;
    request.folder = bay;
    request.spots = 3;
    REQUIRE(write_practice(request, [](std::uint64_t, std::uint64_t) {}));
    const auto place = folder.path("case");
    const auto made =
        run_idlehark(fmt::format("case new {1} --name Marlow --engine {0}/engine.json --map {0}/map.json", bay, place));
    INFO(made.err);
    REQUIRE(made.code == 0);
    REQUIRE(run_idlehark(fmt::format("case add {} visit --title before --warmth warm --date 2026-05-30", place)).code ==
            0);
    const auto added =
        run_idlehark(fmt::format("case add {1} recording {0}/bay.flac --marks {0}/marks.csv", bay, place));
    INFO(added.err);
    REQUIRE(added.code == 0);
    CHECK_THAT(added.out, Contains("spray") && Contains("idle") && Contains("balance"));
    return place;
}

/// An older layout's case as its dump gives it.
std::string case_of_layout(int layout, const ScratchFolder& folder) {
    const auto place = folder.path("old");
    fs::create_directories(place + "/audio");
    Database db{place + "/case.sqlite", Database::Mode::create};
    db.execute(test::slurp(test::recordings_path(fmt::format("../tests/src/cases/layout{}.sql", layout))));
    return place;
}

}  // namespace

TEST_CASE("Case: what the commands store, the audio gives again; what was altered is named", "[casebook]") {
    const ScratchFolder folder;
    const auto place = practised(folder);

    const auto agreed = run_idlehark("case check " + place);
    INFO(agreed.out << agreed.err);
    CHECK(agreed.code == 0);
    CHECK_THAT(agreed.out, Contains("4 results made again") && Contains("all agree"));

    // The case gives the same figures as the command on the original recording.
    {
        const auto book = Casebook::open(place, Casebook::Access::read);
        REQUIRE(book);
        const auto results = book.value().results();
        REQUIRE(results);
        REQUIRE(results.value().size() == 4);
        const auto direct = run_idlehark(fmt::format(
            "spray {0}/bay.flac --engine {0}/engine.json --map {0}/map.json --marks {0}/marks.csv --format json",
            folder.path("bay")));
        REQUIRE(direct.code == 0);
        CHECK(results.value()[0].figures.at("spots") == Json::parse(direct.out).at("spots"));
        CHECK_FALSE(book.value().trace_of_recording(1).value().empty());
    }

    // Another place, the same figures.
    fs::rename(place, folder.path("moved"));
    CHECK(run_idlehark("case check " + folder.path("moved")).code == 0);
    const auto moved = folder.path("moved");
    {
        Database db{moved + "/case.sqlite", Database::Mode::read_write};
        db.execute(
            "UPDATE result SET figures = json_set(figures, '$.spots[1].change_rpm', 99.5), program = 'idlehark 0.0.1' "
            "WHERE kind = 'spray'");
    }
    const auto differs = run_idlehark("case check " + moved);
    CHECK(differs.code == 1);
    CHECK_THAT(differs.out, Contains("visit 1, result 1 (spray): spots[1].change_rpm") && Contains("99.5") &&
                                Contains("idlehark 0.0.1") && Contains("1 figure differs"));
    const auto json = run_idlehark("case check --format json " + moved);
    CHECK(Json::parse(json.out).at("differences").size() == 1);
    CHECK(run_idlehark("case check --quick " + moved).code == 0);

    // A byte of the sound.
    {
        std::fstream f{moved + "/audio/bay.flac", std::ios::in | std::ios::out | std::ios::binary};
        f.seekp(100'000);
        f.put('x');
        f.put('y');
    }
    const auto changed = run_idlehark("case check --quick " + moved);
    CHECK(changed.code == 1);
    CHECK_THAT(changed.out, Contains("its bytes have changed"));
}

TEST_CASE("Case: the log judges readings by the user's own limits", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto log = [&](const std::string& rest) { return run_idlehark("case add " + place + " log " + rest); };
    CHECK_THAT(log("'fuel pressure' --reading 2.9 --low 2.5 --high 3.2 --unit bar").out, Contains("fuel pressure: ok"));
    CHECK_THAT(log("'fuel pressure' --reading 2.2 --low 2.5 --high 3.2 --unit bar").out, Contains("faulty"));
    CHECK_THAT(log("compression --reading 13 --low 10 --unit bar").out, Contains("ok"));
    CHECK_THAT(log("'cam timing' --state not-done").out, Contains("not done"));
    CHECK_THAT(log("plugs --state ok --note 'light brown'").out, Contains("ok"));
    const auto unsaid = log("plugs --note 'light brown'");
    CHECK(unsaid.code == 2);
    CHECK_THAT(unsaid.err, Contains("--state"));
    CHECK(log("x --reading 1 --low 3 --high 2").code == 2);
    for (const auto* number : {"nan", "inf", "-inf", "1e999"})
        CHECK(log(fmt::format("x --reading {} --low 2.5 --high 3.2", number)).code == 2);
    const auto shown = run_idlehark("case show " + place);
    CHECK_THAT(shown.out, Contains("faulty    fuel pressure: 2.2 bar (manual: 2.5 to 3.2 bar)") &&
                              Contains("ok        compression: 13 bar (manual: 10 or more bar)") &&
                              Contains("plugs; light brown") && !Contains("2.9 bar"));
    const auto book = Casebook::open(place, Casebook::Access::read);
    CHECK(book.value().log().value().size() == 5);  // the superseded line is kept
}

TEST_CASE("Case: injector sets and hiss surveys are refused whole when a part is wrong", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto tone = test::tone_file(folder, "tone.wav", 6.0);
    CHECK(run_idlehark(fmt::format("case add {} injectors 1={} 1={}", place, tone, tone)).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} injectors 5={}", place, tone)).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} hiss 3{}", place, tone)).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} hiss 3={} --gain-db 4=1", place, tone)).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} injectors 1={} 2={}", place, tone, folder.path("nope.wav"))).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} hiss 3={} 4={}", place, tone, folder.path("nope.wav"))).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} recording {}", place, folder.path("nope.wav"))).code == 2);
    CHECK(run_idlehark(fmt::format("case add {} recording {} --channel 2", place, tone)).code == 2);
    {
        const auto book = Casebook::open(place, Casebook::Access::read);
        CHECK(book.value().recordings().value().empty());
        CHECK(book.value().visits().value().empty());
    }
    // A tone is no engine: kept, with the reason, and exit code 1.
    const auto kept = run_idlehark(fmt::format("case add {} recording {}", place, tone));
    CHECK(kept.code == 1);
    CHECK_THAT(kept.out, Contains("no answer"));
    CHECK_THAT(kept.err, Contains("kept all the same"));
    CHECK(run_idlehark("case check " + place).code == 0);
}

TEST_CASE("Case: a bad marks file that lies beside a recording does not keep it out, one that is named does",
          "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto tone = test::tone_file(folder, "tone.wav", 6.0);
    const auto marks = folder.file("tone.marks.csv", "time_s,spot\n");
    const auto add = [&](const std::string& rest) {
        return run_idlehark("case add " + place + " recording " + tone + rest);
    };
    CHECK(add(" --marks " + marks).code == 2);
    CHECK(add("").code == 1);  // kept; a tone is no engine
    static_cast<void>(folder.file("tone.marks.csv", "time_s,spot\n1.5,7\n2."));
    const auto torn = add("");
    CHECK(torn.code == 1);
    CHECK_THAT(torn.err, Contains("not every mark is taken: tone.marks.csv: line 3 is not read as a mark"));
    CHECK(add(" --marks " + marks).code == 2);
    const auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    REQUIRE(book.value().recordings().value().size() == 2);
    CHECK(book.value().marks(1).value().empty());
    REQUIRE(book.value().marks(2).value().size() == 1);
    CHECK(book.value().marks(2).value()[0].spot == "7");
}

TEST_CASE("Case: a recording whose name leaves no room for the files beside it is taken in", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto tone = test::tone_file(folder, std::string(245, 'n') + ".wav", 6.0);
    const auto added = run_idlehark("case add " + place + " recording " + tone);
    CHECK(added.code == 1);  // kept; a tone is no engine
    CHECK_THAT(added.out, Contains("recording 1 in visit 1"));
}

TEST_CASE("Case: folders of any name are listed, as text and as JSON", "[casebook]") {
    const ScratchFolder folder;
    static_cast<void>(new_case(folder.path("c\xff\x1b[2J")));
    fs::create_directory(folder.path("d\xff"));
    static_cast<void>(folder.file("d\xff/case.sqlite", "no case"));
    const auto text = run_idlehark("case list '" + folder.path("") + "'");
    CHECK(text.code == 0);
    CHECK_THAT(text.out, Contains("Marlow") && Contains("cannot be read") && !Contains("\xff") && !Contains("\x1b"));
    const auto json = run_idlehark("case list --format json '" + folder.path("") + "'");
    CHECK(json.code == 0);
    CHECK(Json::parse(json.out).size() == 2);
}

TEST_CASE("Case: the marks of a recording that still runs are in the copy", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto running = book.begin_recording(visit.value(), RecordingKind::bay, "bay.flac", 1, "");
    REQUIRE(running);
    auto recorder = Recorder::create(running.value().path,
                                     {.device = "", .sample_rate_hz = 16000.0, .started_at = "", .continues = ""});
    REQUIRE(recorder);
    REQUIRE(recorder.value().write(std::vector<std::int32_t>(16000, 512)));
    MarksJournal journal{recorder.value().names().marks};
    REQUIRE(book.add_mark(running.value().id, 0.25, "7"));
    REQUIRE(journal.mark(0.25, "7"));  // noted in both places
    REQUIRE(journal.mark(0.5, "9"));
    for (const auto* how : {"", " --without-audio"}) {
        const auto copy = folder.path(fmt::format("copy{}", std::string{how}.size()));
        REQUIRE(run_idlehark("case export " + folder.path("c") + " " + copy + how).code == 0);
        const auto marks = read_marks(copy + "/audio/bay.marks.csv");
        REQUIRE(marks);
        REQUIRE(marks.value().marks.size() == 2);
        CHECK(marks.value().marks[1].spot == "9");
    }
}

TEST_CASE("Case: a copy to give away is a whole case without private names", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    {
        auto book = new_case(place);
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "before", .device = "Ann's telephone"});
        REQUIRE(visit);
        const auto path = test::tone_file(folder, "Ann at home.wav", 1.0);
        const std::vector<Mark> marks{{.time_s = 0.5, .spot = "7", .extra = {}, .line = 0}};
        REQUIRE(book.import_recording(visit.value(), RecordingKind::bay, path, 1, marks));
        static_cast<void>(folder.file("c/audio/Ann-at-home.settings.json", "{\"device\": \"Ann's telephone\"}"));
        static_cast<void>(folder.file("c/Ann's diary.txt", "Ann's"));
    }
    const auto copy = folder.path("copy");
    const auto exported = run_idlehark("case export " + place + " " + copy);
    INFO(exported.err);
    REQUIRE(exported.code == 0);
    for (const auto& entry : fs::recursive_directory_iterator{copy})
        if (entry.is_regular_file()) {
            CAPTURE(entry.path().string());
            CHECK(test::slurp(entry.path().string()).find("Ann's") == std::string::npos);
            CHECK(test::slurp(entry.path().string()).find("Ann at") == std::string::npos);
        }
    const auto again = Casebook::open(copy, Casebook::Access::write);
    REQUIRE(again);
    const auto rows = again.value().recordings();
    REQUIRE(rows);
    REQUIRE(rows.value().size() == 1);
    CHECK(again.value().audio_path(rows.value()[0]));
    CHECK(again.value().visits().value()[0].title == "before");
    CHECK(read_marks(copy + "/audio/Ann-at-home.marks.csv").value().marks.size() == 1);
    CHECK(Json::parse(test::slurp(copy + "/case.json")).at("visits").size() == 1);
    CHECK(run_idlehark("case check --quick " + copy).code == 0);
    CHECK(run_idlehark("case export " + place + " " + copy).code == 2);  // never over another
}

TEST_CASE("Case: pictures lose what the camera wrote, and nothing else", "[casebook]") {
    const std::string start = "\xff\xd8";
    const std::string jfif{"\xff\xe0\x00\x04JF", 6};
    const std::string exif{
        "\xff\xe1\x00\x08"
        "GPS12!",
        10};
    const std::string comment{
        "\xff\xfe\x00\x06"
        "Anna",
        8};
    const std::string scan{
        "\xff\xda\x00\x04"
        "xx"
        "\x01\xff\x00\x02\xff\xd9",
        12};
    const auto clean = without_camera_data(start + jfif + exif + comment + scan + "hidden behind the end");
    REQUIRE(clean);
    CHECK(*clean == start + jfif + scan);
    CHECK(*without_camera_data(start + jfif + scan + start + exif + scan) == start + jfif + scan);  // a second picture
    // Scan after scan, with tables and a comment between them, restarts and fill bytes in them.
    const std::string head{
        "\xff\xda\x00\x04"
        "xx"
        "\x01\xff\xd3\x02\xff\x00\x03",
        13};
    const std::string table{
        "\xff\xff\xc4\x00\x04"
        "hh",
        7};
    const auto progressive = without_camera_data(start + head + table + comment + exif + scan + start + exif + scan);
    REQUIRE(progressive);
    CHECK(*progressive == start + head + table + scan);
    CHECK_FALSE(without_camera_data(start + jfif + "\xff\xd9"));   // no picture in it
    CHECK_FALSE(without_camera_data(start + head));                // breaks off
    CHECK_FALSE(without_camera_data(start + exif));                // breaks off
    CHECK_FALSE(without_camera_data(start + "\xff\xe1\xff\xff"));  // longer than the file
    CHECK_FALSE(without_camera_data("GIF89a and so on"));

    const auto chunk = [](const std::string& type, const std::string& data) {
        std::string c{"\x00\x00\x00", 3};
        c += static_cast<char>(data.size());
        return c + type + data + "crc!";
    };
    const std::string png = "\x89PNG\r\n\x1a\n";
    const auto plain = without_camera_data(png + chunk("IHDR", "0123") + chunk("tEXt", "Author Anna") +
                                           chunk("eXIf", "GPS") + chunk("IDAT", "data") + chunk("IEND", "") + "rest");
    REQUIRE(plain);
    CHECK(*plain == png + chunk("IHDR", "0123") + chunk("IDAT", "data") + chunk("IEND", ""));
    CHECK_FALSE(without_camera_data(png + chunk("IHDR", "0123")));

    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto id = book.add_picture({}, folder.file("bay photo.jpeg", start + jfif + exif + scan), "the bay");
    REQUIRE(id);
    const auto pictures = book.pictures();
    REQUIRE(pictures);
    CHECK(pictures.value()[0].file == "bay-photo.jpg");
    CHECK(test::slurp(book.picture_path(pictures.value()[0]).value()) == start + jfif + scan);
    CHECK_FALSE(book.add_picture({}, folder.file("x.jpg", "no picture"), ""));
    CHECK(book.folder().files("pictures").size() == 1);
}

TEST_CASE("Case: every older layout opens with all it held", "[casebook]") {
    const int layout = GENERATE(range(1, schema::kVersion + 1));
    CAPTURE(layout);
    const ScratchFolder folder;
    const auto place = case_of_layout(layout, folder);
    const auto must_hold = [](const Casebook& book) {
        CHECK_THAT(book.car().value().name, Contains("layout"));
        REQUIRE(book.visits().value().size() == 1);
        CHECK(book.visits().value()[0].note == "rain");
        CHECK(book.visits().value()[0].warmth == Warmth::warm);
        CHECK(book.log().value()[0].reading == 2.9);
        CHECK(book.gate_answers(1).value()[0].answer == "no");
        CHECK(book.marks(1).value().size() == 2);
        CHECK(book.gaps(1).value()[0].frame == 100);
        const auto results = book.latest_results(1);
        REQUIRE(results);
        CHECK(results.value().size() == 3);
        CHECK(book.trace_of_recording(1).value().size() > 200);
        CHECK(book.notes().value()[0].text == "hose 11 feels soft");
        CHECK(book.engine().value().engine.cylinders == 4);
        CHECK(book.map().value()->map.spots.size() == 12);
        CHECK(book.guided(1));
    };
    const auto before = test::slurp(place + "/case.sqlite");
    {
        const auto again = folder.path("again");
        fs::copy(place, again, fs::copy_options::recursive);
        const auto report = repair_case(again);
        REQUIRE(report);
        CHECK_FALSE(report.value().rebuilt);  // old is not damaged
    }
    {
        const auto book = Casebook::open(place, Casebook::Access::read);
        REQUIRE(book);
        must_hold(book.value());
    }
    CHECK(test::slurp(place + "/case.sqlite") == before);  // reading changes nothing
    {
        auto book = Casebook::open(place, Casebook::Access::write);
        REQUIRE(book);
        must_hold(book.value());
        CHECK(book.value().add_note(1, "written by the newer program"));
        CHECK(book.value().tables().whole("PRAGMA user_version") == schema::kVersion);
        CHECK(book.value().tables().text("PRAGMA integrity_check") == "ok");
    }
    CHECK(fs::exists(fmt::format("{}/case-layout{}.sqlite", place, layout)) == (layout < schema::kVersion));
    CHECK(Casebook::open(place, Casebook::Access::read).value().notes().value().size() == 2);
}

TEST_CASE("Case: a guided spray test comes back as it was kept", "[casebook]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    CHECK_FALSE(book.guided(visit.value()).value().has_value());
    VisitRecord record;
    record.cautions = {{"fuel smell", true, 1.5}};
    record.recordings = {{"bay.flac", 0.0}, {"bay-2.flac", 120.25}};
    record.bursts.push_back({.spots = {"7", "9"},
                             .sham = true,
                             .time_s = 30.125,
                             .by_key = true,
                             .found_onset_s = 30.25,
                             .found_duration_s = {},
                             .asked = false,
                             .near_gap = true,
                             .undone = true});
    record.bursts.push_back({.spots = {"3"}, .time_s = 60.0, .found_onset_s = {}, .found_duration_s = {}});
    record.skipped = {{{"9"}, 0}, {{"3", "7"}, 2}};
    record.decided = {"7"};
    record.clock_s = 77.75;
    record.ended = "decided";
    REQUIRE(book.keep_guided(visit.value(), VisitRecord{}));
    REQUIRE(book.keep_guided(visit.value(), record));
    CHECK_FALSE(book.keep_guided(99, record));
    const auto kept = book.guided(visit.value());
    REQUIRE(kept);
    REQUIRE(kept.value().has_value());
    const auto& r = *kept.value();
    CHECK(r.cautions.size() == 1);
    CHECK(r.cautions[0].key == "fuel smell");
    CHECK(r.cautions[0].yes);
    CHECK(r.recordings[1].offset_s == 120.25);
    REQUIRE(r.bursts.size() == 2);
    CHECK(r.bursts[0].spots == std::vector<std::string>{"7", "9"});
    CHECK(r.bursts[0].sham);
    CHECK(r.bursts[0].time_s == 30.125);
    CHECK(r.bursts[0].by_key);
    CHECK(r.bursts[0].found_onset_s == 30.25);
    CHECK_FALSE(r.bursts[0].found_duration_s.has_value());
    CHECK_FALSE(r.bursts[0].asked);
    CHECK(r.bursts[0].near_gap);
    CHECK(r.bursts[0].undone);
    CHECK(r.bursts[1].asked);
    CHECK(r.skipped == record.skipped);
    CHECK(r.decided == record.decided);
    CHECK(r.clock_s == 77.75);
    CHECK(std::isnan(r.smallest_provable_rpm));
    CHECK(r.ended == "decided");
    book.tables().execute("UPDATE guided SET record = '{\"bursts\": 5}'");
    CHECK_FALSE(book.guided(visit.value()));
}
