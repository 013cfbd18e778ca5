#include "src/casebook/salvage.hpp"

#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/schema.hpp"
#include "src/files/local_time.hpp"
#include "src/files/plain_text.hpp"

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <sqlite3.h>

namespace idlehark {

namespace {

/// After so many numbers in a row without a row, the end of the table is taken to be reached.
constexpr RowId kLongestHole = 4096;
constexpr RowId kMostRows = 1'000'000;
/// How long tables are looked through number by number, all together; a million rows take a few seconds.
constexpr auto kPatience = std::chrono::seconds{30};

/// All that a file can honestly hold: pages that point to each other can pretend more.
class Budget {
   public:
    explicit Budget(const std::string& file) {
        for (const auto* ending : {"", "-wal"}) {
            std::error_code code;
            const auto size = std::filesystem::file_size(file + ending, code);
            if (!code) left_bytes_ += size;
        }
    }
    /// Throws once more was taken than there can be.
    void take(const Database& from, std::uintmax_t bytes) {
        if (bytes > left_bytes_) from.fail(SQLITE_CORRUPT);
        left_bytes_ -= bytes;
    }

    [[nodiscard]] bool time_is_up() const { return std::chrono::steady_clock::now() > until_; }

   private:
    std::uintmax_t left_bytes_ = 0;
    std::chrono::steady_clock::time_point until_ = std::chrono::steady_clock::now() + kPatience;
};

std::vector<std::string> columns_of(Database& database, const std::string& table) {
    std::vector<std::string> names;
    Statement s{database, "SELECT name FROM pragma_table_info(?)"};
    s.with(table);
    while (s.step()) names.push_back(s.text(0));
    return names;
}

/// Copies one table.
class TableSalvage {
   public:
    TableSalvage(Database& from, Database& to, const std::string& table, Budget& budget)
        : from_(from), to_(to), table_(table), budget_(budget) {
        part_.name = table;
        const auto have = columns_of(from, table);
        for (const auto& name : columns_of(to, table))
            if (std::find(have.begin(), have.end(), name) != have.end()) columns_.push_back(name);
        number_ = table == "result_recording" || table == "trace" ? "result_id" : table == "guided" ? "visit_id" : "id";
    }

    RepairedPart run() {
        if (columns_.empty()) {
            part_.unsure = true;
            return part_;
        }
        try {
            scan();
        } catch (const DatabaseFault&) {
            part_.unsure = true;
            try {
                one_by_one();
            } catch (const DatabaseFault&) {  // not even asked for: nothing of this table can be read
            }
        }
        // Rows are numbered without holes and never deleted (but for a recording's that never began), so their number
        // tells what a spoilt page hides.
        if (const auto known = static_cast<std::size_t>(std::max<RowId>(last_in_sequence(), 0)); known > part_.kept)
            part_.lost = known - part_.kept;
        return part_;
    }

   private:
    [[nodiscard]] std::string select(std::string_view condition) const {
        return fmt::format("SELECT {} FROM {} {}", fmt::join(columns_, ", "), table_, condition);
    }

    void scan() {
        Statement s{from_, select(fmt::format("ORDER BY {}", number_))};
        while (s.step()) take(s);
    }

    /// Are the row's number and those it names possible? The largest of all would leave no number for a new row.
    [[nodiscard]] bool numbered_well(const Statement& row) const {
        for (std::size_t c = 0; c < columns_.size(); ++c)
            if (columns_[c] == number_ || columns_[c].ends_with("_id"))
                if (const auto id = row.whole(static_cast<int>(c)); id > kMostRows || id < 0) return false;
        return true;
    }

    void take(Statement& row) {
        if (!numbered_well(row)) {
            ++part_.lost;
            return;
        }
        last_ = std::clamp(row.whole(number_column()), last_, kMostRows);
        Statement insert{to_, fmt::format("INSERT OR IGNORE INTO {} ({}) VALUES ({}?)", table_,
                                          fmt::join(columns_, ", "), repeated("?, ", columns_.size() - 1))};
        for (int c = 0; c < row.columns(); ++c)
            if (const int type = sqlite3_column_type(row.raw(), c); type == SQLITE_TEXT || type == SQLITE_BLOB)
                budget_.take(from_, static_cast<std::uintmax_t>(sqlite3_column_bytes(row.raw(), c)));
        for (int c = 0; c < row.columns(); ++c)
            sqlite3_bind_value(insert.raw(), c + 1, sqlite3_column_value(row.raw(), c));
        try {
            insert.run();
            if (sqlite3_changes(to_.raw()) > 0)
                ++part_.kept;
            else
                ++part_.lost;  // a value that the layout forbids: damage that the page's structure hid
        } catch (const DatabaseFault& fault) {
            if (fault.kind != DatabaseFault::Kind::refused) throw;
            ++part_.lost;
        }
    }

    /// Behind the damage: each number on its own, which finds its way through the sound parts of the tree.
    void one_by_one() {
        RowId hole = 0;
        const RowId known = last_in_sequence();
        Statement s{from_, select(fmt::format("WHERE {} = ?", number_))};
        for (RowId id = last_ + 1; id <= kMostRows && (id <= known || hole < kLongestHole); ++id) {
            if (budget_.time_is_up()) break;
            try {
                s.reset();
                s.with(id);
                bool any = false;
                while (s.step()) {
                    take(s);
                    any = true;
                }
                hole = any ? 0 : hole + 1;
            } catch (const DatabaseFault&) {
                ++hole;
                if (id <= known) ++part_.lost;
            }
        }
    }

    RowId last_in_sequence() {
        try {
            Statement s{from_, "SELECT seq FROM sqlite_sequence WHERE name = ?"};
            const RowId last = s.with(table_).step() ? s.whole(0) : 0;
            return last <= kMostRows ? last : 0;  // no case has that many: the number itself is spoilt
        } catch (const DatabaseFault&) {
            return 0;
        }
    }

    [[nodiscard]] int number_column() const {
        return static_cast<int>(std::find(columns_.begin(), columns_.end(), number_) - columns_.begin());
    }

    static std::string repeated(std::string_view text, std::size_t times) {
        std::string out;
        for (std::size_t i = 0; i < times; ++i) out += text;
        return out;
    }

    Database& from_;
    Database& to_;
    std::string table_, number_;
    Budget& budget_;
    std::vector<std::string> columns_;
    RepairedPart part_;
    RowId last_ = 0;
};

/// The numbers that a column names and that are not in its parent.
std::vector<RowId> orphans(Database& db, const std::string& child, const std::string& column,
                           const std::string& parent) {
    std::vector<RowId> ids;
    Statement s{db,
                fmt::format("SELECT DISTINCT {0} FROM {1} WHERE {0} IS NOT NULL AND {0} NOT IN (SELECT id FROM {2})",
                            column, child, parent)};
    while (s.step()) ids.push_back(s.whole(0));
    return ids;
}

void stand_in_for_visits(Database& db, std::vector<std::string>& actions) {
    std::set<RowId> missing;
    for (const auto* child : {"gate_answer", "log_entry", "recording", "result", "guided", "note", "picture"})
        for (const auto id : orphans(db, child, "visit_id", "visit")) missing.insert(id);
    for (const auto id : missing) {
        Statement{db, "INSERT INTO visit (id, date, title, note) VALUES (?, ?, 'found by repair', ?)"}
            .with(id)
            .with(now_text())
            .with("What was known about this visit itself was lost; its recordings and results are here.")
            .run();
        actions.push_back(fmt::format("visit {}: lost itself; a stand-in holds what belongs to it", id));
    }
}

void stand_in_for_recordings(Database& db, std::vector<std::string>& actions) {
    std::set<RowId> missing;
    for (const auto* child : {"mark", "gap", "result_recording"})
        for (const auto id : orphans(db, child, "recording_id", "recording")) missing.insert(id);
    for (const auto id : missing) {
        Statement visit{db, "SELECT max(id) FROM visit"};
        if (!visit.step() || visit.null(0)) {
            Statement{db, "INSERT INTO visit (date, title) VALUES (?, 'found by repair')"}.with(now_text()).run();
        }
        Statement{db,
                  "INSERT INTO recording (id, visit_id, kind, file, state, added_at) VALUES (?, (SELECT max(id) FROM "
                  "visit), 'bay', ?, 'running', ?)"}
            .with(id)
            .with(fmt::format("lost-recording-{}", id))
            .with(now_text())
            .run();
        actions.push_back(fmt::format("recording {}: lost itself; a stand-in holds its marks and results", id));
    }
}

void stand_in_for_engines(Database& db, const std::string& engine_text, std::vector<std::string>& actions) {
    const bool others = db.whole("SELECT count(*) FROM engine") > 0;
    for (const auto id : orphans(db, "result", "engine_id", "engine")) {
        Statement{
            db,
            "INSERT INTO engine (id, text, added_at) VALUES (?, coalesce((SELECT text FROM engine ORDER BY id LIMIT "
            "1), ?), ?)"}
            .with(id)
            .with(engine_text.empty() ? "{}" : engine_text)
            .with(now_text())
            .run();
        actions.push_back(fmt::format("engine {}: lost; {} stands in for it", id,
                                      others                ? "another of this case"
                                      : engine_text.empty() ? "nothing"
                                                            : "engine.json"));
    }
    db.execute("UPDATE result SET map_id = NULL WHERE map_id NOT IN (SELECT id FROM map)");
}

std::size_t drop_orphans(Database& db, const char* table) {
    db.execute(fmt::format("DELETE FROM {} WHERE result_id NOT IN (SELECT id FROM result)", table));
    return static_cast<std::size_t>(sqlite3_changes(db.raw()));
}

}  // namespace

std::vector<RepairedPart> salvage_tables(Database& from, Database& to, const std::string& engine_text,
                                         std::vector<std::string>& actions) {
    to.execute("PRAGMA foreign_keys=OFF;");
    std::vector<RepairedPart> parts;
    {
        Transaction all{to};
        Budget budget{from.path()};
        for (const auto& table : schema::tables()) parts.push_back(TableSalvage{from, to, table, budget}.run());
        stand_in_for_engines(to, engine_text, actions);
        stand_in_for_recordings(to, actions);
        stand_in_for_visits(to, actions);
        // A speed trace or a list of sources without its result says nothing.
        for (auto& part : parts)
            if (part.name == "trace" || part.name == "result_recording") {
                const auto dropped = drop_orphans(to, part.name.c_str());
                part.kept -= dropped;
                part.lost += dropped;
            }
        all.commit();
    }
    to.execute("PRAGMA foreign_keys=ON;");
    return parts;
}

}  // namespace idlehark
