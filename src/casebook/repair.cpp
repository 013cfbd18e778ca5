#include "src/casebook/repair.hpp"

#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/page_tree.hpp"
#include "src/casebook/salvage.hpp"
#include "src/casebook/schema.hpp"
#include "src/casebook/sound_store.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/local_time.hpp"
#include "src/files/plain_text.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdint>
#include <cstring>
#include <fstream>
#include <iterator>
#include <set>

#include <fmt/format.h>
#include <unistd.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;

/// A sound file that grew this recently may be in the making.
constexpr auto kStillGrowing = std::chrono::seconds{10};
constexpr int kStillBeginning_s = 60;  // a microphone may take a while to open

std::uintmax_t size_of(const std::string& path) {
    std::error_code code;
    const auto size = fs::file_size(path, code);
    return code ? 0 : size;
}

/// Is every page and every row in order, and is it all there?
bool tables_are_sound(const CaseFolder& folder) {
    try {
        Database db{folder.database(), Database::Mode::read_write};
        const int version = schema::version(db);
        if (schema::newer(version)) return true;  // not ours to judge
        if (version < 1) return false;
        Statement s{db, "PRAGMA integrity_check(1)"};
        if (!s.step() || s.text(0) != "ok") return false;
        Statement keys{db, "PRAGMA foreign_key_check"};
        if (keys.step()) return false;
        schema::verify(db, version);
        return db.whole("SELECT count(*) FROM car") == 1 && db.whole("SELECT count(*) FROM engine") > 0;
    } catch (const DatabaseFault& fault) {
        if (fault.kind == DatabaseFault::Kind::damaged) return false;
        if (fault.kind == DatabaseFault::Kind::other) return false;
        throw;
    }
}

/// The copy of the engine in the folder; empty if it is no help.
std::string engine_beside(const CaseFolder& folder) {
    const auto path = folder.existing("", "engine.json");
    if (!path) return "";
    const auto engine = read_engine(path.value());
    return engine ? engine_json(engine.value().engine).dump(2, ' ', false, Json::error_handler_t::replace) : "";
}

/// The car and an engine are what a case cannot be without: from the copies in the folder if the tables lost them.
void complete(Database& db, const CaseFolder& folder, RepairReport& report) {
    if (db.whole("SELECT count(*) FROM engine") == 0) {
        if (const auto text = engine_beside(folder); !text.empty()) {
            Statement{db, "INSERT INTO engine (text, added_at) VALUES (?, ?)"}.with(text).with(now_text()).run();
            report.actions.emplace_back("engine: taken from engine.json");
        }
        if (db.whole("SELECT count(*) FROM engine") == 0)
            report.faults.push_back(std::string{"engine: lost, and engine.json is no help. "} + kEngineHint);
    }
    if (db.whole("SELECT count(*) FROM map") == 0)
        if (const auto path = folder.existing("", "map.json"))
            if (const auto map = read_map(path.value(), kMostCylinders)) {
                Statement{db, "INSERT INTO map (text, added_at) VALUES (?, ?)"}
                    .with(map_json(map.value().map).dump(2))
                    .with(now_text())
                    .run();
                report.actions.emplace_back("map: taken from map.json");
            }
    if (db.whole("SELECT count(*) FROM car") == 0) {
        Statement{db, "INSERT INTO car VALUES (1, ?, ?, ?)"}
            .with(safe_name(file_name(folder.path())))
            .with(now_text())
            .with(kThisProgram)
            .run();
        report.actions.emplace_back("car: its name was lost; the folder's name stands in for it");
    }
}

/// Can the list of tables be read?
bool lists_tables(const std::string& file) {
    try {
        Database db{file, Database::Mode::read_write};
        return db.whole("SELECT count(*) FROM sqlite_schema WHERE name = 'visit'") == 1;
    } catch (const DatabaseFault&) {
        return false;
    }
}

constexpr std::size_t kPage_bytes = 4096;

std::string whole_file(const std::string& path) {
    std::ifstream in{path, std::ios::binary};
    return {std::istreambuf_iterator<char>{in}, {}};
}

/// Sets the length that the first page states to what is there.
void state_length(std::string& bytes) {
    const auto pages = static_cast<std::uint32_t>(bytes.size() / kPage_bytes);
    for (std::size_t i = 0; i < 4; ++i) {
        bytes[28 + i] = static_cast<char>((pages >> (24 - 8 * i)) & 0xffU);
        bytes[92 + i] = bytes[24 + i];
    }
}

/// The list of tables says where each begins; without it nothing is found. Where it is spoilt, its pages are taken from
/// an empty case of the same layout: tables are made in one order, so they begin at the same pages. Where only the
/// file's end is missing, the length is set to what is there. Works on a copy. Source   the SQLite file format
/// (sqlite.org/fileformat2.html) 1.3 and 1.6: offsets 18 and 19 write and read version,
///          24 change counter, 28 size in pages, 92 the change counter that the size is valid for; a page's cell count
///          at 3.
void mend_list_of_tables(const std::string& damaged, const std::string& empty_case, RepairReport& report) {
    if (size_of(damaged) < 2 * kPage_bytes || lists_tables(damaged)) return;
    auto bytes = whole_file(damaged);
    const auto put_back = [&] {
        state_length(bytes);
        std::ofstream{damaged, std::ios::binary} << bytes;
        return lists_tables(damaged);
    };
    if (bytes.starts_with("SQLite format 3") && put_back()) return;
    const auto empty = whole_file(empty_case);
    for (std::size_t at = 0; at + kPage_bytes <= std::min(empty.size(), bytes.size()); at += kPage_bytes) {
        // In an empty case the list of tables is all that has cells.
        const std::size_t head = at + (at == 0 ? 100 : 0);
        if (at == 0 || empty[head + 3] != 0 || empty[head + 4] != 0)
            bytes.replace(at, kPage_bytes, empty, at, kPage_bytes);
    }
    if (size_of(damaged + "-wal") > 0) bytes[18] = bytes[19] = 2;
    if (put_back())
        report.actions.emplace_back("case.sqlite: the list of tables was lost; that of an empty case stands in");
}

/// Where each table and index of a file begins.
std::vector<TableTree> trees_of(const std::string& file) {
    Database db{file, Database::Mode::read_write};
    std::vector<TableTree> trees;
    Statement s{db,
                "SELECT name, rootpage, type = 'table' AND sql NOT LIKE '%WITHOUT ROWID%', (SELECT count(*) FROM "
                "pragma_table_info(m.name)) FROM sqlite_schema AS m WHERE rootpage > 1"};
    while (s.step())
        trees.push_back(
            {s.text(0), static_cast<std::uint32_t>(s.whole(1)), static_cast<std::size_t>(s.whole(3)), s.whole(2) != 0});
    return trees;
}

void mend_tables(const std::string& damaged, RepairReport& report) {
    if (!lists_tables(damaged) || size_of(damaged + "-wal") > 0) return;
    try {
        auto bytes = whole_file(damaged);
        const auto mended = mend_trees(bytes, trees_of(damaged));
        if (mended.empty()) return;
        state_length(bytes);
        std::ofstream{damaged, std::ios::binary} << bytes;
        for (const auto& name : mended)
            report.actions.push_back(fmt::format("{}: the way to its rows was lost; found again page by page", name));
    } catch (const DatabaseFault&) {
        return;  // what can be read is read without this
    }
}

/// Writes the tables anew from what can be read; the damaged file is kept under a name of its own.
Result<Done> rebuild(const CaseFolder& folder, RepairReport& report) {
    const PrivateFolder work;
    const auto damaged = (work.path() / "damaged.sqlite").string();
    for (const auto* ending : {"", "-wal"})
        if (const auto path = folder.existing("", std::string{"case.sqlite"} + ending))
            if (const auto copied = copy_file_safely(path.value(), damaged + ending); !copied) return copied.error();
    const auto fresh = folder.fresh("", "repaired.sqlite");
    if (!fresh) return fresh.error();
    {
        Database to{fresh.value(), Database::Mode::create};
        {
            Transaction all{to};
            schema::create(to);
            all.commit();
        }
        try {
            mend_list_of_tables(damaged, fresh.value(), report);
            mend_tables(damaged, report);
            Database from{damaged, Database::Mode::read_write};
            from.execute("PRAGMA cell_size_check=OFF; PRAGMA ignore_check_constraints=ON;");
            const auto version = from.whole("PRAGMA user_version");
            if (schema::newer(version)) {
                unlink(fresh.value().c_str());
                return Error{
                    fmt::format("{}: was written by a newer Idlehark (case layout {})", folder.database(), version),
                    "Repair it with the newer program. Nothing was changed."};
            }
            report.parts = salvage_tables(from, to, engine_beside(folder), report.actions);
        } catch (const DatabaseFault& fault) {
            if (fault.kind == DatabaseFault::Kind::full) throw;
            report.faults.push_back("case.sqlite: nothing in it can be read: " + fault.error.what);
        }
        complete(to, folder, report);
    }
    const auto kept = folder.fresh("", "case-damaged.sqlite");
    if (!kept) return kept.error();
    // The logs of the damaged file go with it: they must never be taken for the new file's.
    for (const auto* ending : {"-wal", "-shm", "-journal"})
        if (rename((folder.database() + ending).c_str(), (kept.value() + ending).c_str()) != 0 && errno != ENOENT)
            return Error{fmt::format("{}: cannot be set aside ({})", folder.database(), std::strerror(errno)), ""};
    if ((rename(folder.database().c_str(), kept.value().c_str()) != 0 && errno != ENOENT) ||
        rename(fresh.value().c_str(), folder.database().c_str()) != 0)
        return Error{fmt::format("{}: cannot be exchanged ({})", folder.database(), std::strerror(errno)),
                     "The repaired tables are in " + fresh.value() + "; rename them to case.sqlite."};
    sync_folder_of(folder.database());
    report.rebuilt = true;
    report.kept_damaged = file_name(kept.value());
    return Done{};
}

bool may_be_growing(const std::string& path) {
    std::error_code code;
    const auto written = fs::last_write_time(path, code);
    const auto age = fs::file_time_type::clock::now() - written;
    return !code && age < kStillGrowing && age > -kStillGrowing;  // far in the future: the clock was set back
}

/// A recording of which nothing is there may be another program's that begins just now.
bool may_be_beginning(const CaseRecording& r) {
    return r.started_at >= now_text(kStillBeginning_s) && r.started_at <= now_text();
}

enum class Opened { withdrawn, beginning, begun };

/// Takes the note of a recording back that never began.
Opened withdraw_if_nothing(Casebook& book, const CaseRecording& r, RepairReport& report) {
    const auto nothing = book.never_begun(r);
    // Where rows were lost it may be marks that are missing.
    if (!nothing || !nothing.value() || report.rebuilt) return Opened::begun;
    if (may_be_beginning(r)) {
        report.actions.push_back(fmt::format("recording {}: is beginning, left alone", r.id));
        return Opened::beginning;
    }
    if (const auto gone = book.withdraw_recording(r.id); !gone)
        report.faults.push_back(fmt::format("recording {}: {}", r.id, gone.error().what));
    else
        report.actions.push_back(fmt::format("recording {}: never began, its note is taken back", r.id));
    return Opened::withdrawn;
}

}  // namespace

std::size_t close_recordings(Casebook& book, RepairReport& report) {
    const auto recordings = book.recordings();
    if (!recordings) return 0;
    std::size_t growing = 0;
    for (const auto& r : recordings.value()) {
        if (const auto opened = withdraw_if_nothing(book, r, report); opened != Opened::begun) {
            growing += opened == Opened::beginning ? 1 : 0;
            continue;
        }
        const auto path = book.audio_path(r);
        if (!path) {
            report.faults.push_back(fmt::format("recording {}: {}", r.id, path.error().what));
            continue;
        }
        if (!r.running) continue;
        if (may_be_growing(path.value())) {
            report.actions.push_back(fmt::format("recording {}: is being made, left alone", r.id));
            ++growing;
            continue;
        }
        const auto closed = book.finish_recording(r.id);
        if (closed) report.actions.push_back(fmt::format("recording {}: closed after it was cut off", r.id));
        if (!closed || !closed.value().empty())
            report.faults.push_back(
                fmt::format("recording {}: {}", r.id, closed ? closed.value() : closed.error().what));
    }
    return growing;
}

namespace {

/// Sound files that no row names: a copy whose row was lost, or that was cut off just before its row.
void take_in_strangers(Casebook& book, RepairReport& report) {
    const auto recordings = book.recordings();
    if (!recordings) return;
    std::set<std::string> known;
    for (const auto& r : recordings.value()) known.insert(r.file);
    std::optional<RowId> visit;
    for (const auto& name : book.folder().files("audio")) {
        if (known.contains(name) || name.ends_with(".csv") || name.ends_with(".json")) continue;
        const auto path = book.folder().existing("audio", name);
        if (!path || may_be_growing(path.value())) continue;
        if (name.ends_with(".part")) {
            unlink(path.value().c_str());
            report.actions.push_back(fmt::format("audio/{}: left over from a copy that was cut off, removed", name));
            continue;
        }
        if (const auto sound = SoundFile::open(path.value()); !sound) {
            report.faults.push_back(fmt::format("audio/{}: is not sound, left alone ({})", name, sound.error().what));
            continue;
        }
        if (!visit) {
            Visit found;
            found.title = "found by repair";
            const auto id = book.add_visit(found);
            if (!id) {
                report.faults.push_back(id.error().what);
                return;
            }
            visit = id.value();
        }
        std::string unread;
        const auto id = book.adopt_recording(*visit, name, unread);
        if (id)
            report.actions.push_back(
                fmt::format("audio/{}: taken in as recording {} of visit {}", name, id.value(), *visit));
        if (!id || !unread.empty())
            report.faults.push_back(fmt::format("audio/{}: {}", name, id ? unread : id.error().what));
    }
}

}  // namespace

Result<RepairReport> repair_case(const std::string& path) {
    const CaseFolder folder{path};
    std::error_code code;
    if (!fs::is_directory(folder.path(), code)) return Error{path + ": is not a folder", ""};
    if (!is_there(folder.database()) && !fs::is_directory(folder.path() + "/audio", code))
        return Error{path + ": holds no case", "A case is a folder made by `idlehark case new`."};
    if (!folder.writable())
        return Error{path + ": is read-only, so nothing can be repaired", "Copy the folder to where you may write."};
    return guarded([&]() -> Result<RepairReport> {
        RepairReport report;
        if (!tables_are_sound(folder))
            if (const auto done = rebuild(folder, report); !done) return done.error();
        auto book = Casebook::open(path, Casebook::Access::write);
        if (!book) return book.error();
        take_in_strangers(book.value(), report);
        close_recordings(book.value(), report);
        return report;
    });
}

/// The note of a recording that never began is the one row that goes; its number is not given again.
static std::string_view may_be_taken_back(const RepairedPart& part) {
    return part.name == "recording" ? " or taken back" : "";
}

std::string repair_table(const RepairReport& report) {
    std::string text;
    if (report.rebuilt) {
        text += fmt::format("The tables were damaged and are written anew; the damaged file is kept as {}.\n",
                            report.kept_damaged);
        for (const auto& p : report.parts)
            if (p.kept > 0 || p.lost > 0 || p.unsure)
                text += fmt::format("  {:<16} {} kept{}{}\n", p.name, p.kept,
                                    p.lost > 0 ? fmt::format(", {} lost{}", p.lost, may_be_taken_back(p)) : "",
                                    p.unsure ? "; part of it could not be read" : "");
    } else {
        text += "The tables are sound.\n";
    }
    for (const auto& a : report.actions) text += a + "\n";
    for (const auto& f : report.faults) text += "stays lost: " + f + "\n";
    return text;
}

}  // namespace idlehark
