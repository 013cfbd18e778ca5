#include "src/casebook/database.hpp"

#include "src/files/text_file.hpp"

#include <cmath>
#include <filesystem>
#include <fstream>

#include <fmt/format.h>
#include <sqlite3.h>

namespace idlehark {

namespace {

/// How long one program waits for another that is writing.
constexpr int kPatience_ms = 10'000;
constexpr int kLargestValue_bytes = 64 << 20;
constexpr std::int64_t kMostRows = 1'000'000;
constexpr std::size_t kMostHandedOut_bytes = 256U << 20U;
constexpr auto kLongestStatement = std::chrono::seconds{60};
constexpr int kStepsBetweenLooks = 100'000;  // of SQLite's machine; a few milliseconds
constexpr std::string_view kJournalMagic = "\xd9\xd5\x05\xf9\x20\xa1\x63\xd7";

DatabaseFault::Kind kind_of(int code) {
    switch (code & 0xff) {
        case SQLITE_CORRUPT:
        case SQLITE_NOTADB:
        case SQLITE_INTERRUPT:
        case SQLITE_TOOBIG:
            return DatabaseFault::Kind::damaged;
        case SQLITE_FULL:
            return DatabaseFault::Kind::full;
        case SQLITE_READONLY:
        case SQLITE_PERM:
            return DatabaseFault::Kind::read_only;
        case SQLITE_BUSY:
        case SQLITE_LOCKED:
            return DatabaseFault::Kind::busy;
        case SQLITE_CONSTRAINT:
            return DatabaseFault::Kind::refused;
        default:
            return DatabaseFault::Kind::other;
    }
}

Error error_of(DatabaseFault::Kind kind, const std::string& path, const std::string& reason) {
    using Kind = DatabaseFault::Kind;
    switch (kind) {
        case Kind::damaged:
            return {fmt::format("{}: is damaged ({})", path, reason),
                    "`idlehark case repair CASE` keeps all that can still be read, and says what was lost."};
        case Kind::full:
            return {path + ": the disk is full; nothing of this step was stored, all before it is kept",
                    "Make room and do it again."};
        case Kind::read_only:
            return {path + ": cannot be written", "Is the folder read-only, or does it belong to somebody else?"};
        case Kind::busy:
            return {path + ": another program has been writing to this case for ten seconds",
                    "Wait for it or end it, then do it again; nothing of this step was stored."};
        case Kind::refused:
        case Kind::other:
            break;
    }
    return {fmt::format("{}: {}", path, reason), ""};
}

/// A journal left by an interrupted writer may name a further file, which SQLite then deletes. None of this program's
/// does. Source   the SQLite file format (sqlite.org/fileformat2.html) and its pager: the name is followed by its
/// length, a check sum and eight fixed bytes, and these end the file.
bool journal_names_a_file(const std::string& path) {
    std::ifstream in{path + "-journal", std::ios::binary | std::ios::ate};
    const auto size = in ? static_cast<std::streamoff>(in.tellg()) : 0;
    const auto tail = static_cast<std::streamoff>(kJournalMagic.size());
    std::string end(kJournalMagic.size(), '\0');
    return size >= tail && in.seekg(size - tail) && in.read(end.data(), tail) && end == kJournalMagic;
}

/// Only ordinary files may lie where SQLite keeps its own beside the case.
void check_beside(const std::string& path) {
    const auto refuse = [](const std::string& what) {
        throw DatabaseFault{DatabaseFault::Kind::other,
                            {what, "Nothing was opened. Look at where this case comes from, and delete that file."}};
    };
    for (const auto* ending : {"-wal", "-shm", "-journal"}) {
        if (is_there(path + ending) && !is_plain_file(path + ending))
            refuse(path + ending + ": is not an ordinary file");
    }
    if (journal_names_a_file(path)) refuse(path + "-journal: names a file outside the case");
}

}  // namespace

Database::Database(const std::string& path, Mode mode) : path_(path) {
    int flags = SQLITE_OPEN_NOFOLLOW | SQLITE_OPEN_FULLMUTEX | SQLITE_OPEN_EXRESCODE;
    std::string name = path;
    switch (mode) {
        case Mode::create:
            flags |= SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;
            break;
        case Mode::read_write:
            flags |= SQLITE_OPEN_READWRITE;
            break;
        case Mode::read:
            flags |= SQLITE_OPEN_READONLY;
            break;
        case Mode::frozen: {
            flags |= SQLITE_OPEN_READONLY | SQLITE_OPEN_URI;
            name = "file:";
            for (const char c : path) {
                if (c == '?' || c == '#' || c == '%')
                    name += fmt::format("%{:02x}", static_cast<unsigned char>(c));
                else
                    name += c;
            }
            name += "?immutable=1";
        }
    }
    check_beside(path);
    const int code = sqlite3_open_v2(name.c_str(), &database_, flags, nullptr);
    if (code != SQLITE_OK) {
        const std::string reason = sqlite3_errstr(code);
        sqlite3_close(database_);
        if (kind_of(code) == DatabaseFault::Kind::other)
            throw DatabaseFault{DatabaseFault::Kind::other,
                                {fmt::format("{}: cannot be opened ({})", path, reason), ""}};
        throw DatabaseFault{kind_of(code), error_of(kind_of(code), path, reason)};
    }
    sqlite3_busy_timeout(database_, kPatience_ms);
    sqlite3_limit(database_, SQLITE_LIMIT_LENGTH, kLargestValue_bytes);
    sqlite3_limit(database_, SQLITE_LIMIT_ATTACHED, 1);  // one: VACUUM INTO needs it
    sqlite3_progress_handler(database_, kStepsBetweenLooks, out_of_time, this);
    sqlite3_db_config(database_, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0, nullptr);
    sqlite3_db_config(database_, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
    sqlite3_db_config(database_, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
    sqlite3_db_config(database_, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, nullptr);
    sqlite3_db_config(database_, SQLITE_DBCONFIG_ENABLE_VIEW, 0, nullptr);
    try {
        execute("PRAGMA foreign_keys=ON; PRAGMA cell_size_check=ON;");
        if (mode == Mode::create || mode == Mode::read_write) execute("PRAGMA synchronous=FULL;");
    } catch (...) {
        sqlite3_close(database_);
        throw;
    }
}

Database::~Database() { sqlite3_close(database_); }

void Database::fail(int code) const {
    const auto kind = kind_of(code);
    throw DatabaseFault{kind, error_of(kind, path_,
                                       code == SQLITE_INTERRUPT                      ? "a look-up takes a minute"
                                       : code == sqlite3_extended_errcode(database_) ? sqlite3_errmsg(database_)
                                                                                     : sqlite3_errstr(code))};
}

void Database::start_clock() noexcept { deadline_ = std::chrono::steady_clock::now() + kLongestStatement; }

int Database::out_of_time(void* database) noexcept {
    return std::chrono::steady_clock::now() > static_cast<Database*>(database)->deadline_ ? 1 : 0;
}

void Database::execute(const std::string& sql) {
    start_clock();
    const int code = sqlite3_exec(database_, sql.c_str(), nullptr, nullptr, nullptr);
    if (code != SQLITE_OK) fail(code);
}

void Database::copy_to(const std::string& file) {
    if (text("PRAGMA integrity_check(1)") != "ok") fail(SQLITE_CORRUPT);
    Statement s{*this, "VACUUM INTO ?"};
    s.with(file).run();
}

std::int64_t Database::last_row() const { return sqlite3_last_insert_rowid(database_); }

std::int64_t Database::whole(std::string_view sql) {
    Statement s{*this, sql};
    return s.step() ? s.whole(0) : 0;
}

std::string Database::text(std::string_view sql) {
    Statement s{*this, sql};
    return s.step() ? s.text(0) : std::string{};
}

Statement::Statement(Database& database, std::string_view sql) : database_(database) {
    database.start_clock();
    check(sqlite3_prepare_v2(database.raw(), sql.data(), static_cast<int>(sql.size()), &statement_, nullptr));
}

Statement::~Statement() { sqlite3_finalize(statement_); }

void Statement::check(int code) const {
    if (code != SQLITE_OK) database_.fail(code);
}

Statement& Statement::with(std::int64_t value) {
    check(sqlite3_bind_int64(statement_, ++bound_, value));
    return *this;
}

Statement& Statement::with(double value) {
    check(std::isfinite(value) ? sqlite3_bind_double(statement_, ++bound_, value)
                               : sqlite3_bind_null(statement_, ++bound_));
    return *this;
}

Statement& Statement::with(std::string_view value) {
    check(sqlite3_bind_text64(statement_, ++bound_, value.data() ? value.data() : "", value.size(), SQLITE_TRANSIENT,
                              SQLITE_UTF8));
    return *this;
}

Statement& Statement::with(const std::optional<double>& value) { return value ? with(*value) : with_null(); }
Statement& Statement::with(const std::optional<std::int64_t>& value) { return value ? with(*value) : with_null(); }

Statement& Statement::with_bytes(std::string_view bytes) {
    check(sqlite3_bind_blob64(statement_, ++bound_, bytes.data() ? bytes.data() : "", bytes.size(), SQLITE_TRANSIENT));
    return *this;
}

Statement& Statement::with_null() {
    check(sqlite3_bind_null(statement_, ++bound_));
    return *this;
}

bool Statement::step() {
    const int code = sqlite3_step(statement_);
    if (code == SQLITE_ROW) {
        if (++rows_ > kMostRows) database_.fail(SQLITE_TOOBIG);
        return true;
    }
    if (code != SQLITE_DONE) database_.fail(code);
    return false;
}

void Statement::run() {
    while (step()) {
    }
}

void Statement::reset() {
    database_.start_clock();
    sqlite3_reset(statement_);
    sqlite3_clear_bindings(statement_);
    bound_ = 0;
}

std::int64_t Statement::whole(int column) const { return sqlite3_column_int64(statement_, column); }

double Statement::number(int column) const {
    return null(column) ? std::nan("") : sqlite3_column_double(statement_, column);
}

std::string Statement::text(int column) const {
    const auto* data = static_cast<const char*>(sqlite3_column_blob(statement_, column));
    if (!data) return {};
    const auto size = static_cast<std::size_t>(sqlite3_column_bytes(statement_, column));
    handed_out_bytes_ += size;
    if (handed_out_bytes_ > kMostHandedOut_bytes) database_.fail(SQLITE_TOOBIG);
    return {data, size};
}

bool Statement::null(int column) const { return sqlite3_column_type(statement_, column) == SQLITE_NULL; }
int Statement::columns() const { return sqlite3_column_count(statement_); }

Transaction::Transaction(Database& database) : database_(database) { database_.execute("BEGIN IMMEDIATE;"); }

Transaction::~Transaction() {
    if (open_) sqlite3_exec(database_.raw(), "ROLLBACK;", nullptr, nullptr, nullptr);
}

void Transaction::commit() {
    database_.execute("COMMIT;");
    open_ = false;
}

}  // namespace idlehark
