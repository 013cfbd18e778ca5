#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/check.hpp"
#include "src/casebook/database.hpp"
#include "src/casebook/schema.hpp"
#include "tests/src/casebook_support.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <set>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::new_case;
using test::ScratchFolder;
using test::tone_file;

namespace {

namespace fs = std::filesystem;

/// What the scripted session tells once a call has returned: the kind of thing, its number, and a value in it.
struct Told {
    enum Kind : std::uint32_t { visit, mark, result, log, recording } kind;
    std::uint32_t id;
    double value;
};

void tell(int to, Told::Kind kind, const Result<RowId>& id, double value) {
    if (!id) _exit(3);
    const Told told{kind, static_cast<std::uint32_t>(id.value()), value};
    if (write(to, &told, sizeof told) != sizeof told) _exit(4);
}

/// A session that never ends: visits with a recording, marks, log lines and results, each confirmed through the pipe.
[[noreturn]] void session(const std::string& folder, const std::string& sound, int to, unsigned seed) {
    std::mt19937 random{seed};
    auto opened = Casebook::open(folder, Casebook::Access::write);
    if (!opened) _exit(2);
    auto& book = opened.value();
    const auto engine = book.engine().value().id;
    for (;;) {
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "session"});
        tell(to, Told::visit, visit, 0.0);
        const auto recording = book.import_recording(visit.value(), RecordingKind::bay, sound, 1, {});
        tell(to, Told::recording, recording, 0.0);
        for (int n = 0; n < 8; ++n) {
            const double value = static_cast<double>(random() % 100000U) / 100.0;
            tell(to, Told::mark, book.add_mark(recording.value(), value, "7"), value);
            LogEntry entry;
            entry.name = "fuel pressure";
            entry.reading = value;
            tell(to, Told::log, book.add_log_entry(entry), value);
            CaseResult r;
            r.visit = visit.value();
            r.kind = "idle";
            r.engine = engine;
            r.figures = {{"rpm", value}};
            r.sources = {{recording.value(), "", 0.0}};
            const std::vector<RpmReading> trace(1000, {value, value, value, value, true});
            tell(to, Told::result, book.add_result(r, trace), value);
        }
    }
}

void must_hold(const Casebook& book, const std::vector<Told>& told) {
    std::map<RowId, double> marks, logs, results;
    std::set<RowId> visits, recordings;
    const auto all_visits = book.visits();
    REQUIRE(all_visits);
    for (const auto& v : all_visits.value()) visits.insert(v.id);
    const auto all_recordings = book.recordings();
    REQUIRE(all_recordings);
    for (const auto& r : all_recordings.value()) {
        recordings.insert(r.id);
        CHECK(book.audio_path(r));
        const auto of_this = book.marks(r.id);
        REQUIRE(of_this);
        for (const auto& m : of_this.value()) marks[m.id] = m.time_s;
    }
    const auto log = book.log();
    REQUIRE(log);
    for (const auto& e : log.value()) logs[e.id] = e.reading.value();
    const auto all_results = book.results();
    REQUIRE(all_results);
    for (const auto& r : all_results.value()) {
        results[r.id] = r.figures.at("rpm").get<double>();
        CHECK(r.sources.size() == 1);  // never half a result
    }
    std::size_t lost = 0;
    for (const auto& t : told) {
        const RowId id = t.id;
        switch (t.kind) {
            case Told::visit:
                lost += visits.contains(id) ? 0 : 1;
                break;
            case Told::recording:
                lost += recordings.contains(id) ? 0 : 1;
                break;
            case Told::mark:
                lost += marks.contains(id) && marks[id] == t.value ? 0 : 1;
                break;
            case Told::log:
                lost += logs.contains(id) && logs[id] == t.value ? 0 : 1;
                break;
            case Told::result:
                lost += results.contains(id) && results[id] == t.value ? 0 : 1;
                break;
        }
    }
    CHECK(lost == 0);
    CHECK(book.tables().text("PRAGMA integrity_check") == "ok");
    CHECK(book.tables().whole("SELECT count(*) FROM pragma_foreign_key_check") == 0);
    CHECK(book.tables().whole("SELECT count(*) FROM result LEFT JOIN trace ON trace.result_id = result.id WHERE "
                              "trace.result_id IS NULL") == 0);
}

/// A small file system of its own at `folder/disk`; nothing if it can't be mounted here.
class SmallDisk {
   public:
    SmallDisk(const ScratchFolder& folder, const char* options) : path_(folder.path("disk")) {
        fs::create_directory(path_);
        mounted_ = mount("tmpfs", path_.c_str(), "tmpfs", 0, options) == 0;
        if (!mounted_) WARN("NOT TESTED: a small file system cannot be mounted here (needs root)");
    }
    ~SmallDisk() {
        if (mounted_) umount2(path_.c_str(), MNT_DETACH);
    }
    SmallDisk(const SmallDisk&) = delete;
    SmallDisk& operator=(const SmallDisk&) = delete;
    [[nodiscard]] bool mounted() const { return mounted_; }
    [[nodiscard]] bool freeze() const {
        return mount("tmpfs", path_.c_str(), "tmpfs", MS_REMOUNT | MS_RDONLY, "") == 0;
    }
    [[nodiscard]] std::string path(const std::string& name) const { return path_ + "/" + name; }

   private:
    std::string path_;
    bool mounted_ = false;
};

}  // namespace

TEST_CASE("Casebook: kill -9 at a hundred random moments loses nothing that was confirmed", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto sound = tone_file(folder, "bay.wav", 0.2);
    std::mt19937 random{2026};
    std::vector<Told> all;
    for (unsigned round = 0; round < 100; ++round) {
        int pipe_ends[2];
        REQUIRE(pipe(pipe_ends) == 0);
        const pid_t child = fork();
        if (child == 0) {
            close(pipe_ends[0]);
            session(place, sound, pipe_ends[1], round);
        }
        close(pipe_ends[1]);
        // So many confirmations, then a moment that may fall into the middle of the next call.
        const auto confirmations = random() % 12;
        Told told{};
        for (std::size_t n = 0; n < confirmations; ++n) {
            REQUIRE(read(pipe_ends[0], &told, sizeof told) == sizeof told);
            all.push_back(told);
        }
        usleep(static_cast<useconds_t>(random() % 4000));
        kill(child, SIGKILL);
        int status = 0;
        waitpid(child, &status, 0);
        REQUIRE(WIFSIGNALED(status));
        while (read(pipe_ends[0], &told, sizeof told) == sizeof told) all.push_back(told);
        close(pipe_ends[0]);
        if (round % 10 == 9) {
            CAPTURE(round);
            const auto access = round % 20 == 9 ? Casebook::Access::read : Casebook::Access::write;
            const auto book = Casebook::open(place, access);
            REQUIRE(book);
            must_hold(book.value(), all);
        }
    }
    CHECK(all.size() > 300);
}

TEST_CASE("Casebook: a full disk is said clearly, and all before it is kept", "[casebook]") {
    const ScratchFolder folder;
    const SmallDisk disk{folder, "size=2m"};
    if (!disk.mounted()) return;
    auto book = new_case(disk.path("c"));
    const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
    REQUIRE(visit);
    const std::string text(4000, 'x');
    std::size_t stored = 0;
    std::optional<Error> fault;
    for (int n = 0; n < 2000 && !fault; ++n) {
        const auto id = book.add_note(visit.value(), text);
        if (id)
            ++stored;
        else
            fault = id.error();
    }
    REQUIRE(fault.has_value());
    CHECK_THAT(fault->what, Contains("disk is full"));
    CHECK_THAT(fault->hint, Contains("Make room"));
    CHECK(stored > 50);
    const auto sound =
        book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "a.wav", 30.0), 1, {});
    REQUIRE_FALSE(sound);
    CHECK_THAT(sound.error().what + sound.error().hint, Contains("room") || Contains("No space"));
    for (const auto& name : book.folder().files("audio")) CHECK_FALSE(name.ends_with(".part"));
    CHECK(book.notes().value().size() == stored);

    SECTION("it can be read while the disk is full") {
        auto again = Casebook::open(disk.path("c"), Casebook::Access::read);
        REQUIRE(again);
        CHECK(again.value().notes().value().size() == stored);
    }
    SECTION("with room again it goes on") {
        REQUIRE(mount("tmpfs", disk.path("").c_str(), "tmpfs", MS_REMOUNT, "size=8m") == 0);
        CHECK(book.add_note(visit.value(), text));
        CHECK(book.notes().value().size() == stored + 1);
    }
}

TEST_CASE("Casebook: a read-only folder is read, and refuses to be written", "[casebook]") {
    const bool torn = GENERATE(false, true);
    CAPTURE(torn);
    const ScratchFolder folder;
    const SmallDisk disk{folder, "size=8m"};
    if (!disk.mounted()) return;
    const auto place = disk.path("c");
    static_cast<void>(new_case(place));
    if (torn) {
        const pid_t child = fork();  // its write-ahead log stays behind
        if (child == 0) {
            auto book = Casebook::open(place, Casebook::Access::write);
            const bool good = book && book.value().add_note({}, "last words");
            if (good) raise(SIGKILL);
            _exit(1);
        }
        int status = 0;
        waitpid(child, &status, 0);
        REQUIRE(WIFSIGNALED(status));
        REQUIRE(fs::file_size(place + "/case.sqlite-wal") > 0);
    }
    REQUIRE(disk.freeze());
    const auto writing = Casebook::open(place, Casebook::Access::write);
    REQUIRE_FALSE(writing);
    CHECK_THAT(writing.error().what, Contains("read-only"));
    auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    CHECK(book.value().car().value().name == "Marlow");
    CHECK(book.value().notes().value().size() == (torn ? 1U : 0U));
    CHECK_FALSE(book.value().add_note({}, "no"));
    const auto shown = test::run_idlehark("case show " + place);
    CHECK(shown.code == 0);
    const auto added = test::run_idlehark("case add " + place + " note no");
    CHECK(added.code == 2);
    CHECK_THAT(added.err, Contains("read-only"));
}

TEST_CASE("Casebook: two programs write to one case at once, a third reads", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    RowId recording = 0;
    {
        auto book = new_case(place);
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
        REQUIRE(visit);
        const auto id =
            book.import_recording(visit.value(), RecordingKind::bay, tone_file(folder, "a.wav", 0.5), 1, {});
        REQUIRE(id);
        recording = id.value();
    }
    std::vector<pid_t> writers;
    for (int w = 0; w < 2; ++w) {
        const pid_t child = fork();
        if (child == 0) {
            auto book = Casebook::open(place, Casebook::Access::write);
            if (!book) _exit(2);
            for (int n = 0; n < 150; ++n)
                if (!book.value().add_mark(recording, n, w == 0 ? "first" : "second")) _exit(3);
            _exit(0);
        }
        writers.push_back(child);
    }
    std::size_t seen = 0;
    for (int look = 0; look < 20; ++look) {
        const auto book = Casebook::open(place, Casebook::Access::read);
        REQUIRE(book);
        const auto marks = book.value().marks(recording);
        REQUIRE(marks);
        CHECK(marks.value().size() >= seen);
        seen = marks.value().size();
    }
    for (const auto child : writers) {
        int status = 0;
        waitpid(child, &status, 0);
        CHECK((WIFEXITED(status) && WEXITSTATUS(status) == 0));
    }
    const auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    const auto marks = book.value().marks(recording);
    REQUIRE(marks);
    CHECK(marks.value().size() == 300);
    CHECK(std::count_if(marks.value().begin(), marks.value().end(),
                        [](const CaseMark& m) { return m.spot == "first"; }) == 150);
}

TEST_CASE("Casebook: a newer layout is refused and stays as it is", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    {
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        db.execute(fmt::format("PRAGMA user_version={};", schema::kVersion + 1));
    }
    const auto before = test::slurp(place + "/case.sqlite");
    for (const auto access : {Casebook::Access::read, Casebook::Access::write}) {
        const auto book = Casebook::open(place, access);
        REQUIRE_FALSE(book);
        CHECK_THAT(book.error().what, Contains("newer Idlehark"));
        CHECK_THAT(book.error().hint, Contains("Nothing in it was changed"));
    }
    CHECK(test::run_idlehark("case repair " + place).code == 2);
    CHECK(test::slurp(place + "/case.sqlite") == before);
}

TEST_CASE("Casebook: a spoilt layout number is damage, and repair brings the case back", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    static_cast<void>(new_case(place));
    const auto layout = GENERATE(67108896, 2147483647, -5);
    CAPTURE(layout);
    {
        Database db{place + "/case.sqlite", Database::Mode::read_write};
        db.execute(fmt::format("PRAGMA user_version={};", layout));
    }
    for (const auto access : {Casebook::Access::read, Casebook::Access::write})
        CHECK_FALSE(Casebook::open(place, access));
    CHECK(test::run_idlehark("case repair " + place).code == 0);
    const auto book = Casebook::open(place, Casebook::Access::read);
    REQUIRE(book);
    CHECK(book.value().car());
}

TEST_CASE("Casebook: what is no case is said to be none", "[casebook]") {
    const ScratchFolder folder;
    CHECK_THAT(Casebook::open(folder.path("none"), Casebook::Access::read).error().what, Contains("No such file"));
    fs::create_directory(folder.path("empty"));
    CHECK_THAT(Casebook::open(folder.path("empty"), Casebook::Access::read).error().what, Contains("holds no case"));
    fs::create_directory(folder.path("text"));
    static_cast<void>(folder.file("text/case.sqlite", "this is no database, however long the text may be"));
    CHECK_THAT(Casebook::open(folder.path("text"), Casebook::Access::write).error().what, Contains("damaged"));
    fs::create_directory(folder.path("other"));
    {
        Database db{folder.path("other/case.sqlite"), Database::Mode::create};
        db.execute("CREATE TABLE t (x)");
    }
    CHECK_THAT(Casebook::open(folder.path("other"), Casebook::Access::write).error().what,
               Contains("not a case of this program"));
}

TEST_CASE("Casebook: a stranger's case reaches nothing outside its folder", "[casebook]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    const auto secret = folder.file("secret.wav", test::slurp(tone_file(folder, "tone.wav", 1.0)));
    {
        auto book = new_case(place);
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
        REQUIRE(visit);
        REQUIRE(book.import_recording(visit.value(), RecordingKind::bay, folder.path("tone.wav"), 1, {}));
    }
    SECTION("a sound file that is a link") {
        fs::remove(place + "/audio/tone.flac");
        fs::create_symlink(secret, place + "/audio/tone.flac");
        const auto book = Casebook::open(place, Casebook::Access::read);
        REQUIRE(book);
        const auto path = book.value().audio_path(book.value().recordings().value()[0]);
        REQUIRE_FALSE(path);
        CHECK_THAT(path.error().hint, Contains("not followed"));
    }
    SECTION("an audio folder that is a link") {
        fs::rename(place + "/audio", folder.path("elsewhere"));
        fs::create_directory_symlink(folder.path("elsewhere"), place + "/audio");
        auto book = Casebook::open(place, Casebook::Access::write);
        REQUIRE(book);
        CHECK_FALSE(book.value().audio_path(book.value().recordings().value()[0]));
        CHECK_FALSE(book.value().begin_recording(1, RecordingKind::bay, "new.flac", 1, ""));
        CHECK_FALSE(book.value().import_recording(1, RecordingKind::bay, folder.path("tone.wav"), 1, {}));
        CHECK(std::distance(fs::directory_iterator{folder.path("elsewhere")}, {}) == 1);
    }
    SECTION("a name with a path in it") {
        {
            Database db{place + "/case.sqlite", Database::Mode::read_write};
            db.execute("PRAGMA ignore_check_constraints=ON; UPDATE recording SET file = '../../secret.wav';");
        }
        const auto book = Casebook::open(place, Casebook::Access::read);
        REQUIRE(book);
        CHECK_FALSE(book.value().audio_path(book.value().recordings().value()[0]));
        const auto exported = test::run_idlehark("case export " + place + " " + folder.path("copy"));
        CHECK_THAT(exported.err, Contains("left out"));
        CHECK_FALSE(fs::exists(folder.path("copy/audio/secret.wav")));
    }
    SECTION("tables that act by themselves") {
        {
            Database db{place + "/case.sqlite", Database::Mode::read_write};
            db.execute("CREATE TRIGGER t AFTER INSERT ON note BEGIN DELETE FROM recording; END;");
        }
        const auto book = Casebook::open(place, Casebook::Access::write);
        REQUIRE_FALSE(book);
        CHECK_THAT(book.error().what, Contains("triggers"));
    }
    SECTION("tables that are a link") {
        fs::rename(place + "/case.sqlite", folder.path("elsewhere.sqlite"));
        fs::create_symlink(folder.path("elsewhere.sqlite"), place + "/case.sqlite");
        CHECK_FALSE(Casebook::open(place, Casebook::Access::write));
        CHECK_FALSE(Casebook::open(place, Casebook::Access::read));
    }
    SECTION("a pipe instead of sound does not make anything wait") {
        fs::remove(place + "/audio/tone.flac");
        REQUIRE(mkfifo((place + "/audio/tone.flac").c_str(), 0600) == 0);
        const auto checked = test::run_idlehark("case check " + place);
        CHECK(checked.code == 1);
        CHECK_THAT(checked.out, Contains("not an ordinary file"));
    }
}
