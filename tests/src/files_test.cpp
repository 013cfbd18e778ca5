#include "src/files/csv.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/files/text_file.hpp"
#include "tests/src/casebook_support.hpp"

#include <atomic>
#include <cerrno>
#include <clocale>
#include <cmath>
#include <filesystem>

#include <catch2/catch.hpp>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace {
std::atomic<int> synced_files{0}, synced_folders{0};
std::atomic<bool> sync_fails{false};
}  // namespace

/// Stands in front of the system's own: counts, and fails where it is asked to.
extern "C" int fsync(int fd) {
    struct stat info {};
    if (fstat(fd, &info) == 0) ++(S_ISDIR(info.st_mode) ? synced_folders : synced_files);
    if (sync_fails) {
        errno = EIO;
        return -1;
    }
    return static_cast<int>(syscall(SYS_fsync, fd));
}

using namespace idlehark;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using test::ScratchFolder;

namespace {

Error engine_error(const std::string& json) {
    const ScratchFolder folder;
    const auto file = read_engine(folder.file("engine.json", json));
    REQUIRE_FALSE(file);
    return file.error();
}

Error map_error(const std::string& json) {
    const ScratchFolder folder;
    const auto file = read_map(folder.file("map.json", json), 4);
    REQUIRE_FALSE(file);
    return file.error();
}

Error marks_error(const std::string& csv) {
    const ScratchFolder folder;
    const auto file = read_marks(folder.file("marks.csv", csv));
    REQUIRE_FALSE(file);
    return file.error();
}

}  // namespace

TEST_CASE("Engine file: everything stated is read", "[src][files]") {
    const ScratchFolder folder;
    const auto file = read_engine(folder.file(
        "e.json", R"({"name":"Old six","cylinders":6,"strokes":4,"firing_order":[1,5,3,6,2,4],"idle_rpm":[650,850],
                      "firing_angles_deg":[0,90,240,330,480,570],"injection":"grouped","groups":[[1,2,3],[4,5,6]],
                      "banks":[[1,3,5],[2,4,6]],"idle_control":"regulated"})"));
    REQUIRE(file);
    const auto& e = file.value().engine;
    CHECK(file.value().warnings.empty());
    CHECK(e.name == "Old six");
    CHECK(e.cylinders == 6);
    CHECK(e.firing_order == std::vector{1, 5, 3, 6, 2, 4});
    CHECK(e.firing_angles_deg == std::vector{0.0, 90.0, 240.0, 330.0, 480.0, 570.0});
    CHECK(e.idle_low_rpm == 650.0);
    CHECK(e.idle_high_rpm == 850.0);
    CHECK(e.injection == Injection::grouped);
    CHECK(e.injection_groups == std::vector<std::vector<int>>{{1, 2, 3}, {4, 5, 6}});
    CHECK(cylinder_banks(e) == std::vector<std::vector<int>>{{1, 3, 5}, {2, 4, 6}});
    CHECK(e.idle_control == IdleControl::regulated);
    REQUIRE(write_engine(folder.path("again.json"), e));
    const auto again = read_engine(folder.path("again.json"));
    REQUIRE(again);
    CHECK(again.value().engine.banks == e.banks);
}

TEST_CASE("Engine file: rows of cylinders that are not stated are the usual ones", "[src][files]") {
    Engine e;
    CHECK(cylinder_banks(e) == std::vector<std::vector<int>>{{1, 2, 3, 4}});
    e.cylinders = 6;
    CHECK(cylinder_banks(e).size() == 1);
    e.cylinders = 8;
    CHECK(cylinder_banks(e) == std::vector<std::vector<int>>{{1, 2, 3, 4}, {5, 6, 7, 8}});
    e.cylinders = 9;
    CHECK(cylinder_banks(e).size() == 1);
}

TEST_CASE("Engine file: what is not stated has the documented default", "[src][files]") {
    const ScratchFolder folder;
    const auto file = read_engine(folder.file("e.json", R"({"cylinders":4,"idle_rpm":[700,950]})"));
    REQUIRE(file);
    CHECK(file.value().engine.strokes == 4);
    CHECK(file.value().engine.firing_order.empty());
    CHECK(file.value().engine.injection == Injection::sequential);
    CHECK(file.value().engine.idle_control == IdleControl::fixed);
}

TEST_CASE("Engine file: an unknown key is named in a warning", "[src][files]") {
    const ScratchFolder folder;
    const auto file = read_engine(folder.file("e.json", R"({"cylinders":4,"idle_rpm":[700,950],"cilinders":6})"));
    REQUIRE(file);
    REQUIRE(file.value().warnings.size() == 1);
    CHECK_THAT(file.value().warnings[0], StartsWith("e.json: cilinders: is not a known key"));
}

TEST_CASE("Engine file: a wrong value is named with file, key, value and allowed range", "[src][files]") {
    struct Case {
        const char* json;
        const char* message;
    };
    const auto c = GENERATE(values<Case>({
        {R"({"cylinders":40,"idle_rpm":[700,950]})", "engine.json: cylinders: 40 is not in 1..12"},
        {R"({"cylinders":0,"idle_rpm":[700,950]})", "engine.json: cylinders: 0 is not in 1..12"},
        {R"({"cylinders":4.5,"idle_rpm":[700,950]})", "engine.json: cylinders: 4.5 is not a whole number in 1..12"},
        {R"({"cylinders":"4","idle_rpm":[700,950]})", "engine.json: cylinders: \"4\" is not a whole number in 1..12"},
        {R"({"cylinders":1e300,"idle_rpm":[700,950]})", "engine.json: cylinders: 1e+300 is not in 1..12"},
        {R"({"idle_rpm":[700,950]})", "engine.json: cylinders: is missing"},
        {R"({"cylinders":4})", "engine.json: idle_rpm: is missing"},
        {R"({"cylinders":4,"strokes":3,"idle_rpm":[700,950]})", "engine.json: strokes: 3 is not 2 or 4"},
        {R"({"cylinders":4,"idle_rpm":[950,700]})", "engine.json: idle_rpm: needs two speeds, low before high"},
        {R"({"cylinders":4,"idle_rpm":[700]})", "engine.json: idle_rpm: needs two speeds"},
        {R"({"cylinders":4,"idle_rpm":[7,950]})", "engine.json: idle_rpm: 7 is not a number in 150..12000"},
        {R"({"cylinders":4,"idle_rpm":800})", "engine.json: idle_rpm: 800 is not a list of numbers"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"firing_order":[1,3,4,5]})",
         "engine.json: firing_order: 5 is not in 1..4"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"firing_order":[1,3,4,4]})",
         "engine.json: firing_order: must name each cylinder 1..4 exactly once"},
        {R"({"cylinders":2,"idle_rpm":[700,950],"firing_angles_deg":[0,720]})", "engine.json: firing_angles_deg: "},
        {R"({"cylinders":2,"idle_rpm":[700,950],"firing_angles_deg":[10,300]})",
         "engine.json: firing_angles_deg: the first angle must be 0"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"injection":"direct"})",
         "engine.json: injection: \"direct\" is not one of: simultaneous, grouped, sequential"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"idle_control":1})",
         "engine.json: idle_control: 1 is not one of: fixed, regulated"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"groups":[[1,9]]})", "engine.json: groups: 9 is not in 1..4"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"groups":[1,2]})", "engine.json: groups: 1 is not a list of cylinders"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"banks":[[1,2],[3]]})",
         "engine.json: banks: must name each cylinder 1..4 exactly once"},
        {R"({"cylinders":3,"idle_rpm":[700,950],"banks":[[1],[2],[3]]})", "engine.json: banks: 3 rows of cylinders"},
        {R"({"cylinders":4,"idle_rpm":[700,950],"name":7})", "engine.json: name: 7 is not a text in quotes"},
        {R"({"cylinders":4,"cylinders":6,"idle_rpm":[700,950]})", "engine.json: \"cylinders\" is given twice"},
        {R"([1,2])", "engine.json: must be a JSON object"},
        {"", "engine.json: "},
    }));
    CAPTURE(c.json);
    CHECK_THAT(engine_error(c.json).what, StartsWith(c.message));
}

TEST_CASE("Engine file: a fault of syntax is named with line and column", "[src][files]") {
    const auto error = engine_error("{\n  \"cylinders\": 4\n  \"strokes\": 4\n}");
    CHECK(error.what == "engine.json: line 3, column 11: is not valid JSON");
    CHECK_FALSE(error.hint.empty());
}

TEST_CASE("Engine file: depth, size and encoding are guarded", "[src][files]") {
    CHECK_THAT(engine_error(std::string(500000, '[')).what, Contains("nested too deeply"));
    CHECK_THAT(engine_error("{\"a\":" + std::string(500000, '{')).what, StartsWith("engine.json"));
    CHECK_THAT(engine_error(std::string(2U << 20U, ' ')).what, Contains("is larger than 1024 kB"));
    CHECK_THAT(engine_error("\xff\xfe{").what, Contains("UTF-16"));
    CHECK_THAT(engine_error("{\"name\":\"\xff\xff\"}").what, Contains("is not valid JSON"));
    CHECK_THAT(engine_error(R"({"cylinders":1e999})").what, Contains("number"));
}

TEST_CASE("Engine file: what is written is read back", "[src][files]") {
    const ScratchFolder folder;
    Engine e;
    e.name = "Two \"stroke\"";
    e.cylinders = 3;
    e.strokes = 2;
    e.firing_order = {1, 3, 2};
    e.idle_low_rpm = 900;
    e.idle_high_rpm = 1200;
    e.injection = Injection::simultaneous;
    REQUIRE(write_engine(folder.path("e.json"), e));
    const auto back = read_engine(folder.path("e.json"));
    REQUIRE(back);
    CHECK(back.value().engine.name == e.name);
    CHECK(back.value().engine.strokes == 2);
    CHECK(back.value().engine.firing_order == e.firing_order);
    CHECK(back.value().engine.idle_high_rpm == 1200);
    CHECK(back.value().engine.injection == Injection::simultaneous);
}

TEST_CASE("Map file: reads spots, and writes them back", "[src][files]") {
    const ScratchFolder folder;
    const auto file =
        read_map(folder.file("m.json", R"({"name":"Bay","picture":"bay.jpg","picture_width_mm":640,"note":"x","spots":[
        {"spot":"7","name":"plenum gasket, rear","kind":"gasket","x_mm":310,"y_mm":120,"cylinder":3},
        {"spot":"7b","x_mm":-5.5,"y_mm":0}]})"),
                 4);
    REQUIRE(file);
    REQUIRE(file.value().warnings.size() == 1);
    CHECK_THAT(file.value().warnings[0], StartsWith("m.json: note: is not a known key"));
    REQUIRE(write_map(folder.path("again.json"), file.value().map));
    const auto again = read_map(folder.path("again.json"), 4);
    REQUIRE(again);
    for (const auto* map : {&file.value().map, &again.value().map}) {
        REQUIRE(map->spots.size() == 2);
        CHECK(map->picture == "bay.jpg");
        CHECK(map->picture_width_mm == 640.0);
        CHECK(map->spots[0].name == "plenum gasket, rear");
        CHECK(map->spots[0].kind == SpotKind::gasket);
        CHECK(map->spots[0].cylinder == 3);
        CHECK(map->spots[1].kind == SpotKind::other);
        CHECK(map->spots[1].x_mm == -5.5);
        CHECK_FALSE(map->spots[1].cylinder);
        CHECK(map->find("7b") == &map->spots[1]);
        CHECK(map->find("8") == nullptr);
    }
    const auto blanks = read_map(folder.file("b.json", R"({"spots":[{"spot":" 1 ","x_mm":0,"y_mm":0}]})"), 4);
    REQUIRE(blanks);
    CHECK(blanks.value().map.find("1") != nullptr);  // as a mark of it is read
}

TEST_CASE("Map file: a wrong value is named with its place", "[src][files]") {
    struct Case {
        const char* json;
        const char* message;
    };
    const auto c = GENERATE(values<Case>({
        {R"({"spots":[]})", "map.json: spots: must be a list"},
        {R"({"name":"x"})", "map.json: spots: must be a list"},
        {R"({"spots":[7]})", "map.json: spots[0]: is not an object"},
        {R"({"spots":[{"spot":"1","x_mm":1}]})", "map.json: spots[0].y_mm: is missing"},
        {R"({"spots":[{"spot":1,"x_mm":1,"y_mm":1}]})", "map.json: spots[0].spot: 1 is not a text"},
        {R"({"spots":[{"spot":"","x_mm":1,"y_mm":1}]})", "map.json: spots[0].spot: is empty"},
        {R"({"spots":[{"spot":" ","x_mm":1,"y_mm":1}]})", "map.json: spots[0].spot: is empty"},
        {R"({"spots":[{"spot":"1","x_mm":1,"y_mm":1},{"spot":"1","x_mm":2,"y_mm":1}]})",
         "map.json: spots[1].spot: \"1\" names two spots"},
        {R"({"spots":[{"spot":"1","x_mm":1,"y_mm":1,"kind":"wire"}]})",
         "map.json: spots[0].kind: \"wire\" is not one of: hose, gasket, "},
        {R"({"spots":[{"spot":"1","x_mm":1,"y_mm":1,"cylinder":5}]})", "map.json: spots[0].cylinder: 5 is not in 1..4"},
        {R"({"spots":[{"spot":"1","x_mm":1e9,"y_mm":1}]})", "map.json: spots[0].x_mm: "},
        {R"({"picture_width_mm":0,"spots":[]})", "map.json: picture_width_mm: 0 is not in 1..10000"},
    }));
    CAPTURE(c.json);
    CHECK_THAT(map_error(c.json).what, StartsWith(c.message));
}

TEST_CASE("Marks file: reads what spreadsheets write", "[src][files]") {
    const ScratchFolder folder;
    const auto file = read_marks(
        folder.file("k.csv", "\xef\xbb\xbfnote, time_s ,spot\r\n\"a, \"\"b\"\"\",30.5,\"7\"\r\n\r\nc,12, 3 \r\n"));
    REQUIRE(file);
    const auto& marks = file.value().marks;
    REQUIRE(marks.size() == 2);
    CHECK(marks[0].time_s == 12.0);
    CHECK(marks[0].spot == "3");
    CHECK(marks[0].line == 4);
    CHECK(marks[1].time_s == 30.5);
    CHECK(marks[1].spot == "7");
    CHECK(file.value().extra_columns == std::vector<std::string>{"note"});
    CHECK(marks[1].extra == std::vector<std::string>{"a, \"b\""});

    REQUIRE(write_marks(folder.path("again.csv"), file.value()));
    const auto again = read_marks(folder.path("again.csv"));
    REQUIRE(again);
    CHECK(again.value().marks[1].extra == marks[1].extra);
    CHECK(again.value().extra_columns == file.value().extra_columns);
}

TEST_CASE("Marks file: faults are named with their line", "[src][files]") {
    struct Case {
        const char* csv;
        const char* message;
        bool decimal_hint;
    };
    const auto c = GENERATE(values<Case>({
        {"", "marks.csv: is empty", false},
        {"time_s,spot\n", "marks.csv: has a header but no mark", false},
        {"time,spot\n1,2\n", "marks.csv: line 1: the header has no column time_s", false},
        {"time_s,place\n1,2\n", "marks.csv: line 1: the header has no column spot", false},
        {"time_s;spot\n12,5;7\n", "marks.csv: line 1: the columns are separated by semicolons", true},
        {"time_s,spot\n1,2\n12,5,7\n", "marks.csv: line 3: 3 fields, but the header has 2", true},
        {"time_s,spot\n1,2\n5\n", "marks.csv: line 3: 1 fields, but the header has 2", false},
        {"time_s,spot\n\"12,5\",7\n", "marks.csv: line 2: time_s: \"12,5\" is not a number", true},
        {"time_s,spot\nsoon,7\n", "marks.csv: line 2: time_s: \"soon\" is not a number", false},
        {"time_s,spot\nnan,7\n", "marks.csv: line 2: time_s: \"nan\" is not a number", false},
        {"time_s,spot\n-1,7\n", "marks.csv: line 2: time_s: -1 is before the recording starts", false},
        {"time_s,spot\n1,\n", "marks.csv: line 2: spot: is empty", false},
        {"time_s,spot\n1,\"7\n2,8\n", "marks.csv: line 2: a quote is opened and never closed", false},
    }));
    CAPTURE(c.csv);
    const auto error = marks_error(c.csv);
    CHECK_THAT(error.what, StartsWith(c.message));
    CHECK((error.hint.find("12.5") != std::string::npos) == c.decimal_hint);
}

TEST_CASE("Numbers: read with a point in every locale", "[src][files]") {
    std::setlocale(LC_ALL, "de_DE.UTF-8");  // where it is installed; the C locale otherwise
    CHECK(parse_number(" 12.5 ") == 12.5);
    CHECK(parse_number("+3") == 3.0);
    CHECK(parse_number("1e3") == 1000.0);
    for (const char* wrong : {"", " ", "1,5", "1.5x", "inf", "0x10", "--1"}) CHECK_FALSE(parse_number(wrong));
    std::setlocale(LC_ALL, "C");
}

TEST_CASE("Numbers: in JSON rounded as asked, and null where there is none", "[src][files]") {
    CHECK(json_number(0.1234567).dump() == "0.1234567");
    CHECK(json_number(0.1234567, 4).dump() == "0.1235");
    CHECK(json_number(-0.0004, 3).dump() == "-0.0");
    CHECK(json_number(812.0, 3).dump() == "812.0");
    CHECK(json_number(1.0005, 3) == std::round(1.0005 * 1000.0) / 1000.0);
    for (const double none : {std::nan(""), HUGE_VAL, -HUGE_VAL}) {
        CHECK(json_number(none).is_null());
        CHECK(json_number(none, 3).is_null());
    }
}

TEST_CASE("Text file: what was written outlives a power cut, and a failure leaves the old file", "[src][files]") {
    const ScratchFolder folder;
    const auto path = folder.path("marks.csv");
    const MarksFile marks{.marks = {{.time_s = 1.0, .spot = "7", .extra = {}, .line = 0}}, .extra_columns = {}};
    synced_files = synced_folders = 0;
    REQUIRE(write_marks(path, marks));
    CHECK(synced_files == 1);
    CHECK(synced_folders == 1);
    const auto before = test::slurp(path);
    sync_fails = true;
    const auto failed = write_text(path, "something else");
    sync_fails = false;
    REQUIRE_FALSE(failed);
    CHECK_THAT(failed.error().what, Contains("marks.csv: writing stopped early"));
    CHECK(test::slurp(path) == before);
    CHECK_FALSE(std::filesystem::exists(path + ".part"));
}

TEST_CASE("Text file: what lies beside the target stays, and nothing is left there", "[src][files]") {
    namespace fs = std::filesystem;
    const ScratchFolder folder;
    const auto path = folder.path("page.html");
    const auto own = folder.file("page.html.part", "the user's own");
    REQUIRE(write_text(path, "page"));
    CHECK(test::slurp(path) == "page");
    CHECK(test::slurp(own) == "the user's own");

    fs::create_directories(folder.path("dir/sub"));
    CHECK_FALSE(write_text(folder.path("dir"), "page"));
    CHECK_FALSE(write_where_asked(folder.path("dir"), "page"));
    CHECK_FALSE(fs::exists(folder.path("dir.part")));

    fs::create_symlink(path, folder.path("link"));
    REQUIRE(write_where_asked(folder.path("link"), "through the link"));
    CHECK(fs::is_symlink(folder.path("link")));
    CHECK(test::slurp(path) == "through the link");
    fs::create_symlink(folder.path("new"), folder.path("ahead"));
    REQUIRE(write_where_asked(folder.path("ahead"), "made"));
    CHECK(test::slurp(folder.path("new")) == "made");
    REQUIRE(write_where_asked("/dev/null", "gone"));
    CHECK(fs::is_character_file("/dev/null"));
    CHECK_FALSE(write_where_asked("/dev/full", "no room"));
    fs::create_symlink("/dev/null", folder.path("nowhere"));
    REQUIRE(write_where_asked(folder.path("nowhere"), "gone"));
    CHECK(fs::is_symlink(folder.path("nowhere")));
}

TEST_CASE("Text file: a name is taken by a link to nowhere too, and a link is no ordinary file", "[src][files]") {
    const ScratchFolder folder;
    REQUIRE(write_text(folder.path("file"), "text"));
    std::filesystem::create_symlink(folder.path("file"), folder.path("link"));
    std::filesystem::create_symlink(folder.path("gone"), folder.path("nowhere"));
    CHECK(is_there(folder.path("file")));
    CHECK(is_there(folder.path("nowhere")));
    CHECK_FALSE(is_there(folder.path("gone")));
    CHECK_FALSE(is_there(folder.path(std::string(300, 'x'))));  // longer than a name may be
    CHECK(is_plain_file(folder.path("file")));
    CHECK_FALSE(is_plain_file(folder.path("link")));
    CHECK_FALSE(is_plain_file(folder.path("gone")));
}

TEST_CASE("Casebook: a case that cannot be made whole is not made at all", "[casebook]") {
    namespace fs = std::filesystem;
    const ScratchFolder folder;
    fs::create_directory(folder.path("there"));
    for (const auto* name : {"new", "there"}) {
        CAPTURE(name);
        sync_fails = true;
        const auto failed = Casebook::create(folder.path(name), "Marlow", test::example_engine(), test::example_map());
        sync_fails = false;
        REQUIRE_FALSE(failed);
    }
    CHECK_FALSE(fs::exists(folder.path("new")));
    CHECK(fs::is_empty(folder.path("there")));
    CHECK(Casebook::create(folder.path("there"), "Marlow", test::example_engine(), test::example_map()));
}
