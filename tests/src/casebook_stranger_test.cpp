#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/database.hpp"
#include "src/casebook/measure.hpp"
#include "src/casebook/schema.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/casebook_support.hpp"

#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

// What somebody who means harm could put into a case folder before handing it on.

using namespace idlehark;
using Catch::Matchers::Contains;
using test::new_case;
using test::ScratchFolder;
using test::tone_file;

namespace {

namespace fs = std::filesystem;

std::string big_endian(std::uint32_t value, std::size_t bytes = 4) {
    std::string text;
    for (std::size_t i = bytes; i-- > 0;) text += static_cast<char>((value >> (8 * i)) & 0xffU);
    return text;
}

/// A rollback journal without pages that names a further file. Source   sqlite.org/fileformat2.html 3, and SQLite's
/// pager for the name at the end.
std::string journal_naming(const std::string& file) {
    const std::string magic = "\xd9\xd5\x05\xf9\x20\xa1\x63\xd7";
    auto text = magic + big_endian(0) + big_endian(1234) + big_endian(0) + big_endian(512) + big_endian(4096);
    text.resize(512, '\0');
    std::uint32_t sum = 0;
    for (const char c : file) sum += static_cast<unsigned char>(c);
    return text + big_endian(0x40000000U / 4096 + 1) + file + big_endian(static_cast<std::uint32_t>(file.size())) +
           big_endian(sum) + magic;
}

struct OneVisit {
    RowId visit, recording;
};

/// A second of an idle in a visit of its own.
OneVisit add_one_visit(Casebook& book, const ScratchFolder& folder) {
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto sound =
        book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "tone.wav", 1.0), 1, {});
    REQUIRE(sound);
    return {visit.value(), sound.value()};
}

/// That all programs run from here have used up.
double processor_s() {
    rusage used{};
    getrusage(RUSAGE_CHILDREN, &used);
    const auto seconds = [](const timeval& t) {
        return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    return seconds(used.ru_utime) + seconds(used.ru_stime);
}

/// The program on a stranger's case: it ends by itself, soon, and without taking much memory.
test::Ran run_soon(const std::string& arguments, double longest_s) {
    constexpr long kMost_kB = 1'500'000;
    const double before_s = processor_s();
    auto ran = test::run_idlehark(arguments);
    CAPTURE(arguments, ran.err);
    CHECK(processor_s() - before_s < longest_s);
    CHECK(ran.code >= 0);
    rusage used{};
    getrusage(RUSAGE_CHILDREN, &used);
    CHECK(used.ru_maxrss < kMost_kB);
    return ran;
}

void change_tables(const std::string& place, const std::string& sql) {
    Database db{place + "/case.sqlite", Database::Mode::read_write};
    db.execute("PRAGMA ignore_check_constraints=ON; PRAGMA foreign_keys=OFF;");
    db.execute(sql);
    db.execute("PRAGMA wal_checkpoint(TRUNCATE);");
}

/// A FLAC stream of silence: one block of 65535 frames is 14 bytes. Source   RFC 9639 (FLAC) 9.
class SilentFlac {
   public:
    SilentFlac(std::uint32_t rate_hz, std::uint64_t blocks, std::uint64_t claimed_frames) {
        std::string info = big_endian(kBlock, 2) + big_endian(kBlock, 2) + big_endian(0, 3) + big_endian(0, 3);
        // 20 bits rate, 3 bits channels - 1, 5 bits depth - 1, 36 bits length
        const std::uint64_t packed = (std::uint64_t{rate_hz} << 44U) | (std::uint64_t{15} << 36U) | claimed_frames;
        info += big_endian(static_cast<std::uint32_t>(packed >> 32U)) + big_endian(static_cast<std::uint32_t>(packed));
        info += std::string(16, '\0');
        text_ += big_endian(0x80, 1) + big_endian(static_cast<std::uint32_t>(info.size()), 3) + info;
        for (std::uint64_t n = 0; n < blocks; ++n) text_ += block(static_cast<std::uint32_t>(n));
    }
    [[nodiscard]] const std::string& text() const { return text_; }
    static constexpr std::uint32_t kBlock = 65535;

   private:
    static std::string block(std::uint32_t n) {
        std::string head = "\xff\xf8" + big_endian(0x70, 1) + big_endian(0x08, 1) + utf8(n) + big_endian(kBlock - 1, 2);
        std::uint32_t crc = 0;
        for (const char c : head) crc = step(crc ^ static_cast<unsigned char>(c), 0x07, 0x80, 0xff);
        head += big_endian(crc, 1);
        head += std::string(3, '\0');  // a constant, zero
        crc = 0;
        for (const char c : head)
            crc = step(crc ^ (static_cast<std::uint32_t>(static_cast<unsigned char>(c)) << 8U), 0x8005, 0x8000, 0xffff);
        return head + big_endian(crc, 2);
    }
    static std::uint32_t step(std::uint32_t crc, std::uint32_t polynomial, std::uint32_t top, std::uint32_t mask) {
        for (int bit = 0; bit < 8; ++bit) crc = ((crc & top) != 0 ? (crc << 1U) ^ polynomial : crc << 1U) & mask;
        return crc;
    }
    static std::string utf8(std::uint32_t n) {
        if (n < 0x80) return big_endian(n, 1);
        if (n < 0x800) return big_endian(0xc080U | ((n << 2U) & 0x1f00U) | (n & 0x3fU), 2);
        return big_endian(0xe08080U | ((n << 4U) & 0xf0000U) | ((n << 2U) & 0x3f00U) | (n & 0x3fU), 3);
    }
    std::string text_ = "fLaC";
};

}  // namespace

TEST_CASE("Stranger's case: links where new files are made lead nowhere", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    const auto victim = folder.file("victim", "precious");
    auto book = new_case(place);
    for (const auto* name : {"engine.json.part", "map.json.part", "engine.json", "map.json"}) {
        fs::remove(place + "/" + name);
        fs::create_symlink(victim, place + "/" + name);
    }
    CHECK(book.set_engine(test::example_engine()));
    CHECK(book.set_map(test::example_map()));
    CHECK(test::slurp(victim) == "precious");
    CHECK(fs::is_regular_file(fs::symlink_status(place + "/engine.json")));
    CHECK(fs::is_regular_file(fs::symlink_status(place + "/map.json")));
}

TEST_CASE("Stranger's case: a journal that names another file does not get it deleted", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    const auto victim = folder.file("victim", "precious");
    static_cast<void>(new_case(place));
    static_cast<void>(folder.file("c/case.sqlite-journal", journal_naming(victim)));
    for (const auto access : {Casebook::Access::read, Casebook::Access::write}) {
        const auto opened = Casebook::open(place, access);
        REQUIRE_FALSE(opened);
        CHECK_THAT(opened.error().what, Contains("-journal: names a file outside the case"));
    }
    CHECK(test::run_idlehark("case repair " + place).code == 0);  // the journal is set aside with the damaged file
    CHECK(Casebook::open(place, Casebook::Access::write));
    CHECK(test::slurp(victim) == "precious");
}

TEST_CASE("Stranger's case: links and pipes beside the tables are refused, beside sound they are not read",
          "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    const auto victim = folder.file("victim", "precious");
    {
        auto book = new_case(place);
        add_one_visit(book, folder);
    }
    for (const auto* ending : {"-wal", "-shm", "-journal"}) {
        CAPTURE(ending);
        const auto beside = place + "/case.sqlite" + ending;
        fs::remove(beside);
        fs::create_symlink(victim, beside);
        CHECK_THAT(Casebook::open(place, Casebook::Access::write).error().what, Contains("not an ordinary file"));
        fs::remove(beside);
        REQUIRE(mkfifo(beside.c_str(), 0600) == 0);
        CHECK_FALSE(Casebook::open(place, Casebook::Access::read));
        fs::remove(beside);
    }
    CHECK(test::slurp(victim) == "precious");
    for (const auto* ending : {".events.csv", ".settings.json", ".marks.csv"})
        REQUIRE(mkfifo((place + "/audio/tone" + ending).c_str(), 0600) == 0);
    CHECK(run_soon("case check " + place, 20.0).code != 2);
    CHECK(run_soon("idle " + place + "/audio/tone.flac --cylinders 4 --idle-rpm 700:950", 20.0).code == 1);
}

TEST_CASE("Stranger's case: tables with a second name outside are read and not written", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    fs::create_hard_link(place + "/case.sqlite", folder.path("other"));
    const auto written = Casebook::open(place, Casebook::Access::write);
    REQUIRE_FALSE(written);
    CHECK_THAT(written.error().what, Contains("hard link"));
    CHECK(Casebook::open(place, Casebook::Access::read));
}

TEST_CASE("Stranger's case: tables that compute, check or index in their own way are refused", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    {
        auto book = new_case(place);
        REQUIRE(book.add_note({}, "kept"));
    }
    const std::string sql = GENERATE("CREATE TABLE mine (x)", "CREATE INDEX i ON note (hex(zeroblob(1000000)))",
                                     "DROP TABLE note; CREATE TABLE note (id INTEGER PRIMARY KEY AUTOINCREMENT, "
                                     "visit_id INTEGER, added_at TEXT, text "
                                     "TEXT AS (hex(zeroblob(30000000))))",
                                     "DROP TABLE note; CREATE TABLE note (id INTEGER PRIMARY KEY AUTOINCREMENT, "
                                     "visit_id INTEGER, added_at TEXT, text "
                                     "TEXT CHECK (length(hex(zeroblob(30000000))) > 0))",
                                     "CREATE VIEW v AS SELECT * FROM note",
                                     "CREATE TRIGGER t AFTER INSERT ON note BEGIN DELETE FROM recording; END",
                                     "CREATE VIRTUAL TABLE f USING fts5(x)");
    CAPTURE(sql);
    change_tables(place, sql);
    for (const auto access : {Casebook::Access::read, Casebook::Access::write}) {
        const auto opened = Casebook::open(place, access);
        REQUIRE_FALSE(opened);
        CHECK_THAT(opened.error().hint, Contains("case repair"));
    }
    const auto repaired = run_soon("case repair " + place, 30.0);
    CHECK(repaired.code != 2);
    const auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    CHECK(book.value().notes().value().size() == (sql.starts_with("DROP") ? 0U : 1U));
}

TEST_CASE("Stranger's case: pages that point to each other pretend rows without end, and nothing hangs or grows",
          "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    const auto file = place + "/case.sqlite";
    std::uint32_t root = 0;
    {
        auto book = new_case(place);
        for (int n = 0; n < 200; ++n) REQUIRE(book.add_note({}, std::string(3000, 'x')));
        root = static_cast<std::uint32_t>(
            book.tables().whole("SELECT rootpage FROM sqlite_schema WHERE name = 'note' AND type = 'table'"));
    }
    auto bytes = test::slurp(file);
    constexpr std::size_t kPage = 4096;
    const auto page = [&](std::uint32_t n) { return (n - 1) * kPage; };
    REQUIRE(bytes[page(root)] == 5);  // an inside page of a table
    const std::string inside = bytes.substr(page(root), kPage);
    const auto cells =
        static_cast<std::uint32_t>(static_cast<unsigned char>(inside[3]) * 256 + static_cast<unsigned char>(inside[4]));
    REQUIRE(cells > 90);
    // Six floors of inside pages, each child of a floor the one page of the next: 200^7 rows in 24 kB more.
    auto above = root;
    for (int floor = 0; floor < 6; ++floor) {
        const auto below = static_cast<std::uint32_t>(bytes.size() / kPage) + 1;
        bytes += inside;
        for (std::uint32_t c = 0; c < cells; ++c) {
            const auto at = static_cast<std::size_t>(static_cast<unsigned char>(inside[12 + 2 * c]) * 256 +
                                                     static_cast<unsigned char>(inside[13 + 2 * c]));
            bytes.replace(page(above) + at, 4, big_endian(below));
        }
        bytes.replace(page(above) + 8, 4, big_endian(below));
        above = below;
    }
    const auto pages = static_cast<std::uint32_t>(bytes.size() / kPage);
    bytes.replace(28, 4, big_endian(pages));
    std::ofstream{file, std::ios::binary} << bytes;

    CHECK_THAT(run_soon("case show " + place, 30.0).err, Contains("damaged"));
    CHECK(run_soon("report " + place + " --no-compare -o " + folder.path("out.html"), 30.0).code == 2);
    CHECK(run_soon("case check --quick " + place, 30.0).code != 0);
    CHECK(run_soon("case export " + place + " " + folder.path("copy"), 30.0).code == 2);
    CHECK(run_soon("case repair " + place, 100.0).code != 2);
    CHECK(fs::file_size(file) < 4 * bytes.size());
    const auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    CHECK(book.value().notes());
}

TEST_CASE("Stranger's case: deep and many-keyed JSON is not followed", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    {
        auto book = new_case(place);
        const auto [visit, sound] = add_one_visit(book, folder);
        for (const auto* kind : {"idle", "spray"}) {
            CaseResult r;
            r.visit = visit;
            r.kind = kind;
            r.engine = 1;
            r.sources = {{sound, "", 0.0}};
            REQUIRE(book.add_result(r, {}));
        }
    }
    std::string text;
    SECTION("deep") {
        for (int n = 0; n < 300'000; ++n) text += "{\"a\":";
        text += "1" + std::string(300'000, '}');
    }
    SECTION("deep, and closed wrongly") { text = "{" + std::string(500'000, '['); }
    SECTION("many keys") {
        text = "{\"a\":1";
        for (int n = 0; n < 300'000; ++n) text += fmt::format(",\"{}\":1", n);
        text += "}";
    }
    SECTION("a long list") {
        text = "{\"cautions\":[0";
        for (int n = 0; n < 300'000; ++n) text += ",1e999";
        text += "]}";
    }
    {
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        for (const auto* column : {"figures", "settings"}) {
            Statement s{db, fmt::format("UPDATE result SET {} = ?", column)};
            s.with(text).run();
        }
        for (const auto* table : {"engine", "map"}) {
            Statement s{db, fmt::format("INSERT INTO {} (text, added_at) VALUES (?, '')", table)};
            s.with(text).run();
        }
    }
    static_cast<void>(run_soon("case show " + place, 10.0));
    static_cast<void>(run_soon("case show --format json " + place, 10.0));
    static_cast<void>(run_soon("case check " + place, 20.0));
    static_cast<void>(run_soon("report " + place + " --no-compare -o " + folder.path("out.html"), 20.0));
    static_cast<void>(run_soon("case list " + folder.path("."), 10.0));
    static_cast<void>(run_soon("case repair " + place, 20.0));
}

TEST_CASE("Stranger's case: names and texts of any kind move no terminal and leave no page", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    const std::string nasty =
        "\x1b[2J\x1b]0;owned\x07<script>alert(1)</script>\xff\xfe\xe2\x80\xae"
        "x";
    {
        auto book = new_case(place);
        REQUIRE(book.add_note(add_one_visit(book, folder).visit, "a note"));
        LogEntry entry;
        entry.name = "x";
        REQUIRE(book.add_log_entry(entry));
    }
    {
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        db.execute("PRAGMA ignore_check_constraints=ON;");
        for (const auto* column :
             {"car.name", "car.created_at", "visit.title", "visit.date", "visit.note", "visit.gain", "visit.device",
              "note.text", "note.added_at", "log_entry.name", "log_entry.unit", "log_entry.note", "recording.file",
              "recording.original_name", "recording.device", "recording.fingerprint", "recording.started_at"}) {
            const std::string name{column};
            const auto dot = name.find('.');
            Statement s{db, fmt::format("UPDATE {} SET {} = ?", name.substr(0, dot), name.substr(dot + 1))};
            s.with(std::string_view{nasty}).run();
        }
    }
    for (const auto* what : {"case show ", "case show --format json ", "case check ", "case repair "}) {
        const auto ran = run_soon(what + place, 20.0);
        for (const auto& text : {ran.out, ran.err}) {
            CHECK(text.find('\x1b') == std::string::npos);
            CHECK(text.find('\x07') == std::string::npos);
            CHECK(text.find('\xff') == std::string::npos);
        }
    }
    const auto page = folder.path("out.html");
    CHECK(run_soon("report " + place + " --no-compare -o " + page, 20.0).code == 0);
    CHECK(test::slurp(page).find("<script") == std::string::npos);
    CHECK(run_soon("case list " + folder.path("."), 10.0).out.find('\x1b') == std::string::npos);
}

TEST_CASE("Stranger's case: sound that is months of silence, or claims to be, is bounded", "[casebook][stranger]") {
    const ScratchFolder folder;
    SECTION("a day is enough") {
        const SilentFlac month{8000, 11'500, 0};  // 26 hours out of 170 kB
        const auto path = folder.file("long.flac", month.text());
        auto sound = SoundFile::open(path);
        REQUIRE(sound);
        while (!sound.value().read().empty()) {
        }
        CHECK(sound.value().frames_read() == 24ULL * 3600 * 8000);
        REQUIRE(sound.value().warning());
        CHECK_THAT(*sound.value().warning(), Contains("longer than 24 hours"));
    }
    SECTION("a claim costs nothing") {
        const SilentFlac claim{48000, 3, (1ULL << 36U) - 1};  // sixteen days, four seconds of which are there
        const auto path = folder.file("claim.flac", claim.text());
        const auto ran = run_soon("idle " + path + " --cylinders 4 --idle-rpm 700:950", 20.0);
        CHECK(ran.code == 1);
        CHECK_THAT(ran.err, Contains("breaks off"));
        const auto place = folder.path("c");
        static_cast<void>(new_case(place));
        static_cast<void>(run_soon("case add " + place + " recording " + path, 30.0));
        static_cast<void>(run_soon("case check " + place, 30.0));
    }
    SECTION("rates and channels that are none are refused") {
        const SilentFlac fast{655'350, 3, 0};
        const auto refused =
            run_soon("idle " + folder.file("fast.flac", fast.text()) + " --cylinders 4 --idle-rpm 700:950", 10.0);
        CHECK(refused.code == 2);
        CHECK_THAT(refused.err, Contains("655350 Hz is not in 8000..192000"));
        // A WAV of 65535 channels and 4 GB that are not there.
        std::string wav = "RIFF\xff\xff\xff\x7fWAVEfmt ";
        wav += std::string("\x10\0\0\0\x01\0\xff\xff\x80\xbb\0\0\0\0\0\0\xfe\xff\x10\0", 20) + "data\xff\xff\xff\x7f";
        wav += std::string(400, '\0');
        const auto wide = run_soon("idle " + folder.file("wide.wav", wav) + " --cylinders 4 --idle-rpm 700:950", 10.0);
        CHECK((wide.code == 1 || wide.code == 2));
    }
}

TEST_CASE("Stranger's case: a log of a hundred thousand lines is shown soon", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    change_tables(place,
                  "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 100000) INSERT INTO "
                  "log_entry (name, state, added_at) SELECT 'check ' || i, 'ok', '' FROM n");
    CHECK(run_soon("case show " + place, 10.0).code == 0);
    CHECK(run_soon("report " + place + " --no-compare -o " + folder.path("out.html"), 30.0).code == 0);
}

TEST_CASE("Stranger's case: a name of a megabyte and speeds beyond any engine are drawn soon", "[casebook][stranger]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    {
        auto book = new_case(place);
        const auto [visit, sound] = add_one_visit(book, folder);
        auto map = test::example_map();
        map.name = std::string(900'000, 'W');
        map.spots[0].spot = map.spots[0].name = std::string(50'000, 'W');
        REQUIRE(book.set_map(map));
        CaseResult r;
        r.visit = visit;
        r.kind = "spray";
        r.engine = 1;
        r.sources = {{sound, "", 0.0}};
        r.figures = {
            {"idle_rpm", 1e300},
            {"length_s", 1e17},
            {"spots",
             {{{"spot", "7"}, {"bursts", 3}, {"change_rpm", 1e300}, {"low_rpm", -1e300}, {"high_rpm", 1e300}}}},
            {"bursts", {{{"time_s", 1e17}, {"spot", "7"}}}}};
        const std::vector<RpmReading> trace{{0.0, 1e17, 1e17, 1e17, true}, {1e17, 1.0001e17, 1e17, 1.0001e17, true}};
        REQUIRE(book.add_result(r, trace));
    }
    CHECK(run_soon("report " + place + " --no-compare -o " + folder.path("out.html"), 20.0).code == 0);
}

TEST_CASE("Stranger's case: chances and odds of a guided test that no program states are refused",
          "[casebook][stranger]") {
    const ScratchFolder folder;
    auto book = new_case(folder.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const auto id = book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "a.wav", 2.0), 1, {});
    REQUIRE(id);
    Measurement what;
    what.kind = "guided";
    what.engine = book.engine().value();
    what.map = book.map().value();
    what.sources = {{book.recording(id.value()).value(), {id.value(), "", 0.0}}};
    what.settings["record"] = visit_record_json({});
    CHECK(measure(book, what));
    auto priors = Json::array();
    for (std::size_t k = 0; k < kSpotKindWords.size(); ++k) priors.push_back(0.1);
    const auto refused = [&](const Json& settings, const char* words) {
        auto odd = what;
        odd.settings.update(settings);
        const auto measured = measure(book, odd);
        REQUIRE_FALSE(measured);
        CHECK_THAT(measured.error().what, Contains("the settings of the guided test") && Contains(words));
    };
    for (const double chance : {1.0, 0.0, -3.0, 1e300}) {
        auto odd = priors;
        odd[1] = chance;
        refused({{"kind_priors", odd}}, "chance: ");
    }
    for (const double odds : {0.0, -1.0, 1e308}) refused({{"spot_odds", {{"7", odds}}}}, "odds: ");
    what.settings["kind_priors"] = priors;
    what.settings["spot_odds"] = {{"7", 5.0}, {"9", 0.5}};
    CHECK(measure(book, what));
}
