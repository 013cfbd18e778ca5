#pragma once

#include "src/result.hpp"

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

struct sqlite3;
struct sqlite3_stmt;

namespace idlehark {

/// What SQLite could not do, in the user's words. Thrown inside the casebook only: its public calls hand out Results.
struct DatabaseFault : std::runtime_error {
    enum class Kind { damaged, full, read_only, busy, refused, other };
    DatabaseFault(Kind k, Error e) : std::runtime_error(e.what), kind(k), error(std::move(e)) {}
    Kind kind;
    Error error;
};

class Database;

/// One SQL statement; values are bound in order, from 1, and read by column, from 0.
class Statement {
   public:
    Statement(Database& database, std::string_view sql);
    ~Statement();
    Statement(const Statement&) = delete;
    Statement& operator=(const Statement&) = delete;

    Statement& with(std::int64_t value);
    Statement& with(double value);  ///< NaN is bound as NULL
    Statement& with(std::string_view value);
    Statement& with(const std::optional<double>& value);
    Statement& with(const std::optional<std::int64_t>& value);
    Statement& with_bytes(std::string_view bytes);
    Statement& with_null();

    /// Next row; false at the end.
    bool step();
    /// To the end, without rows.
    void run();
    /// Ready for the next values.
    void reset();

    [[nodiscard]] std::int64_t whole(int column) const;
    [[nodiscard]] double number(int column) const;  ///< NaN for NULL
    [[nodiscard]] std::string text(int column) const;
    [[nodiscard]] std::string bytes(int column) const { return text(column); }
    [[nodiscard]] bool null(int column) const;
    [[nodiscard]] int columns() const;
    [[nodiscard]] sqlite3_stmt* raw() const noexcept { return statement_; }

   private:
    void check(int code) const;
    Database& database_;
    sqlite3_stmt* statement_ = nullptr;
    int bound_ = 0;
    std::int64_t rows_ = 0;
    mutable std::size_t handed_out_bytes_ = 0;
};

/// An SQLite file that may come from a stranger: no symbolic links are followed to it or beside it, a journal beside it
/// that names further files is refused, nothing in its schema is trusted. Bounded: a value by 64 MB, what one statement
/// hands out by a million rows and 256 MB (pages that point to each other can pretend any number), its time by a
/// minute. Errors   every call: DatabaseFault naming the file. Threads  one owner at a time; other processes may use
/// the file at once.
class Database {
   public:
    enum class Mode {
        create,      ///< the file must not exist
        read_write,  ///< the file must exist
        read,
        frozen,  ///< read a file that nobody can be writing: needs no lock files beside it
    };
    Database(const std::string& path, Mode mode);
    ~Database();
    Database(const Database&) = delete;
    Database& operator=(const Database&) = delete;

    void execute(const std::string& sql);
    /// A whole new copy, page by page in order; a damaged file is refused before anything is written.
    void copy_to(const std::string& file);
    std::int64_t last_row() const;
    [[nodiscard]] std::int64_t whole(std::string_view sql);
    [[nodiscard]] std::string text(std::string_view sql);
    [[nodiscard]] const std::string& path() const noexcept { return path_; }
    [[nodiscard]] sqlite3* raw() const noexcept { return database_; }
    [[noreturn]] void fail(int code) const;
    /// A new statement begins, and with it its minute.
    void start_clock() noexcept;

   private:
    static int out_of_time(void* database) noexcept;
    std::string path_;
    sqlite3* database_ = nullptr;
    std::chrono::steady_clock::time_point deadline_;
};

/// All or nothing; what is not committed when this goes is undone. commit() returns once the change is on the disk.
class Transaction {
   public:
    explicit Transaction(Database& database);
    ~Transaction();
    Transaction(const Transaction&) = delete;
    Transaction& operator=(const Transaction&) = delete;
    void commit();

   private:
    Database& database_;
    bool open_ = true;
};

}  // namespace idlehark
