#include "src/casebook/schema.hpp"

#include <algorithm>
#include <array>
#include <set>
#include <string_view>

#include <fmt/format.h>

namespace idlehark::schema {

namespace {

/// Layout 1. Rows are added and never removed, but for a recording's that never began: a correction is a new row, a
/// mark taken back is marked as withdrawn. File names are bare names inside audio/ and pictures/.
constexpr const char* kLayout1 = R"sql(
CREATE TABLE car (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
  created_at TEXT NOT NULL,
  program TEXT NOT NULL
) STRICT;
CREATE TABLE engine (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  text TEXT NOT NULL CHECK (substr(text, 1, 1) = '{'),
  added_at TEXT NOT NULL
) STRICT;
CREATE TABLE map (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  text TEXT NOT NULL CHECK (substr(text, 1, 1) = '{'),
  added_at TEXT NOT NULL
) STRICT;
CREATE TABLE visit (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  date TEXT NOT NULL CHECK (length(date) BETWEEN 10 AND 40),
  title TEXT NOT NULL CHECK (length(title) BETWEEN 1 AND 200),
  warmth TEXT NOT NULL DEFAULT 'not said' CHECK (warmth IN ('warm', 'cold', 'not said')),
  device TEXT NOT NULL DEFAULT '',
  gain TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE TABLE gate_answer (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  question TEXT NOT NULL CHECK (length(question) > 0),
  answer TEXT NOT NULL,
  answered_at TEXT NOT NULL
) STRICT;
CREATE TABLE log_entry (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER REFERENCES visit (id),
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
  low REAL,
  high REAL,
  unit TEXT NOT NULL DEFAULT '',
  reading REAL,
  state TEXT NOT NULL CHECK (state IN ('ok', 'faulty', 'not done')),
  note TEXT NOT NULL DEFAULT '',
  added_at TEXT NOT NULL,
  CHECK (low IS NULL OR high IS NULL OR low <= high)
) STRICT;
CREATE TABLE recording (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  kind TEXT NOT NULL CHECK (kind IN ('bay', 'injector', 'hiss')),
  file TEXT NOT NULL UNIQUE CHECK (length(file) > 0 AND instr(file, '/') = 0 AND file NOT LIKE '.%'),
  original_name TEXT NOT NULL DEFAULT '',
  channel INTEGER NOT NULL DEFAULT 1 CHECK (channel >= 1),
  state TEXT NOT NULL CHECK (state IN ('running', 'whole')),
  started_at TEXT NOT NULL DEFAULT '',
  device TEXT NOT NULL DEFAULT '',
  sample_rate_hz REAL,
  channels INTEGER,
  frames INTEGER,
  bytes INTEGER,
  fingerprint TEXT NOT NULL DEFAULT '',
  added_at TEXT NOT NULL
) STRICT;
CREATE INDEX recording_of_visit ON recording (visit_id);
CREATE TABLE gap (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  recording_id INTEGER NOT NULL REFERENCES recording (id),
  frame INTEGER NOT NULL CHECK (frame >= 0),
  lost_frames INTEGER NOT NULL CHECK (lost_frames >= 0)
) STRICT;
CREATE INDEX gap_of_recording ON gap (recording_id);
CREATE TABLE mark (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  recording_id INTEGER NOT NULL REFERENCES recording (id),
  time_s REAL NOT NULL CHECK (time_s >= 0),
  spot TEXT NOT NULL CHECK (length(spot) > 0),
  source TEXT NOT NULL DEFAULT 'hand' CHECK (source IN ('hand', 'heard')),
  withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)),
  added_at TEXT NOT NULL
) STRICT;
CREATE INDEX mark_of_recording ON mark (recording_id);
CREATE TABLE result (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  kind TEXT NOT NULL CHECK (length(kind) BETWEEN 1 AND 40),
  program TEXT NOT NULL,
  made_at TEXT NOT NULL,
  engine_id INTEGER NOT NULL REFERENCES engine (id),
  map_id INTEGER REFERENCES map (id),
  settings TEXT NOT NULL CHECK (substr(settings, 1, 1) = '{'),
  outcome TEXT NOT NULL CHECK (outcome IN ('answer', 'no answer')),
  figures TEXT NOT NULL CHECK (substr(figures, 1, 1) = '{')
) STRICT;
CREATE INDEX result_of_visit ON result (visit_id);
CREATE TABLE result_recording (
  result_id INTEGER NOT NULL REFERENCES result (id),
  place INTEGER NOT NULL,
  recording_id INTEGER NOT NULL REFERENCES recording (id),
  label TEXT NOT NULL DEFAULT '',
  gain_db REAL NOT NULL DEFAULT 0,
  PRIMARY KEY (result_id, place)
) STRICT, WITHOUT ROWID;
CREATE INDEX result_of_recording ON result_recording (recording_id);
CREATE TABLE trace (
  result_id INTEGER PRIMARY KEY REFERENCES result (id),
  readings BLOB NOT NULL CHECK (length(readings) % 16 = 0)
) STRICT;
CREATE TABLE note (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER REFERENCES visit (id),
  text TEXT NOT NULL CHECK (length(text) > 0),
  added_at TEXT NOT NULL
) STRICT;
CREATE TABLE picture (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER REFERENCES visit (id),
  file TEXT NOT NULL UNIQUE CHECK (length(file) > 0 AND instr(file, '/') = 0 AND file NOT LIKE '.%'),
  title TEXT NOT NULL DEFAULT '',
  added_at TEXT NOT NULL
) STRICT;
)sql";

/// Layout 2: a guided spray test is kept after each of its events, so that it can go on after any interruption.
constexpr const char* kLayout2 = R"sql(
CREATE TABLE guided (
  visit_id INTEGER PRIMARY KEY REFERENCES visit (id),
  record TEXT NOT NULL CHECK (substr(record, 1, 1) = '{'),
  kept_at TEXT NOT NULL
) STRICT;
)sql";

/// kSteps[i] leads from layout i to layout i + 1.
constexpr std::array<const char*, kVersion> kSteps{kLayout1, kLayout2};

/// The statements that make a layout, as SQLite keeps them: without the semicolon.
std::set<std::string> statements(int version) {
    std::set<std::string> list;
    for (int v = 0; v < std::min(version, kVersion); ++v) {
        std::string_view rest = kSteps[static_cast<std::size_t>(v)];
        for (auto end = rest.find(";\n"); end != std::string_view::npos; end = rest.find(";\n")) {
            const auto from = rest.find_first_not_of('\n');
            list.emplace(rest.substr(from, end - from));
            rest.remove_prefix(end + 1);
        }
    }
    return list;
}

void steps(Database& database, int from) {
    for (int v = from; v < kVersion; ++v) database.execute(kSteps[static_cast<std::size_t>(v)]);
    database.execute(fmt::format("PRAGMA application_id={}; PRAGMA user_version={};", kApplication, kVersion));
}

}  // namespace

void create(Database& database) { steps(database, 0); }

void start_journal(Database& database) { database.execute("PRAGMA journal_mode=WAL;"); }

void migrate(Database& database, int from) {
    if (from >= kVersion) return;
    Transaction change{database};
    // Another program may have done it in the meantime.
    steps(database, std::max(from, static_cast<int>(database.whole("PRAGMA user_version"))));
    change.commit();
}

int version(Database& database) {
    if (database.whole("PRAGMA application_id") != kApplication)
        throw DatabaseFault{
            DatabaseFault::Kind::other,
            {database.path() + ": is not a case of this program", "A case is a folder made by `idlehark case new`."}};
    const auto stated = database.whole("PRAGMA user_version");
    if (stated > kVersion && !newer(stated))
        throw DatabaseFault{DatabaseFault::Kind::damaged,
                            {fmt::format("{}: is damaged (it claims to be of layout {})", database.path(), stated),
                             "`idlehark case repair CASE` takes over all that can be read into a sound case."}};
    return static_cast<int>(stated);
}

const std::vector<std::string>& tables() {
    static const std::vector<std::string> kTables{
        "car",    "engine",           "map",   "visit",  "gate_answer", "log_entry", "recording", "gap", "mark",
        "result", "result_recording", "trace", "guided", "note",        "picture"};
    return kTables;
}

void verify(Database& database, int version) {
    const auto fault = [&](const std::string& what) {
        throw DatabaseFault{DatabaseFault::Kind::damaged,
                            {database.path() + ": " + what,
                             "`idlehark case repair CASE` takes over all that can be read into a sound case."}};
    };
    auto missing = statements(version);
    Statement s{database, "SELECT type, name, sql FROM sqlite_schema"};
    while (s.step()) {
        const auto type = s.text(0);
        const auto name = s.text(1);
        if (type != "table" && type != "index") fault("holds triggers or views, which a case never does");
        // SQLite's own: the index of a UNIQUE column has no text, and the last numbers are kept in a table.
        if (name.starts_with("sqlite_") && (s.null(2) || s.text(2) == "CREATE TABLE sqlite_sequence(name,seq)"))
            continue;
        if (missing.erase(s.text(2)) == 0) fault(fmt::format("its {} \"{}\" is not one of a case", type, name));
    }
    if (missing.empty()) return;
    // "CREATE TABLE visit (...": the name is the third word.
    const auto& text = *missing.begin();
    const auto from = text.find(' ', text.find(' ') + 1) + 1;
    fault(fmt::format("its part \"{}\" is missing", text.substr(from, text.find(' ', from) - from)));
}

}  // namespace idlehark::schema
