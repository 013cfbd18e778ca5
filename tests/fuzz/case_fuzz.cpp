// A case from a stranger: case.sqlite with bytes changed anywhere, or with any text in any column. It is opened, shown,
// reported, checked, added to, repaired and exported; nothing outside its folder changes.
// Input: what to do (a byte), then changes: a place (3 bytes), a count, so many bytes; or a column (2 bytes), a kind, a
// text.
#include "src/casebook/case_report_of.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "src/casebook/check.hpp"
#include "src/casebook/database.hpp"
#include "src/casebook/export.hpp"
#include "src/casebook/repair.hpp"
#include "src/casebook/schema.hpp"
#include "tests/fuzz/fuzz.hpp"
#include "tests/src/casebook_support.hpp"

#include <filesystem>
#include <fstream>
#include <vector>

#include <fmt/format.h>

using namespace idlehark;
using fuzz::must;

namespace {

namespace fs = std::filesystem;

struct Column {
    std::string table, name;
};

/// A small whole case, made once; its tables are laid anew for each input.
class Example {
   public:
    Example() {
        auto book = test::new_case(case_folder());
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "before", .note = "warm"}).value();
        const auto sound = test::tone_file(folder_, "bay.wav", 0.2);
        const std::vector<Mark> marks{{0.05, "7", {}, 0}, {0.1, "9", {}, 0}};
        const auto recording = book.import_recording(visit, RecordingKind::bay, sound, 1, marks).value();
        static_cast<void>(book.answer_gate(visit, "clear?", "yes"));
        LogEntry entry;
        entry.name = "fuel pressure", entry.unit = "bar", entry.low = 2.5, entry.reading = 2.9;
        static_cast<void>(book.add_log_entry(entry));
        static_cast<void>(book.add_note(visit, "a note"));
        CaseResult result;
        result.visit = visit, result.engine = 1, result.kind = "idle";
        result.settings = {{"channel", 1}};
        result.figures = {{"rpm", 820.5}, {"cautions", Json::array()}};
        result.sources = {{recording, "", 0.0}};
        const std::vector<RpmReading> trace(3, {0.0, 820.0, 819.0, 821.0, true});
        static_cast<void>(book.add_result(result, trace));
        result.kind = "spray", result.map = 1;
        result.settings = {{"channel", 1}, {"matters_rpm", 15.0}, {"marks", {{0.05, "7"}}}};
        result.figures = {{"idle_rpm", 820.0}, {"spots", {{{"spot", "7"}, {"bursts", 1}, {"verdict", "leak"}}}}};
        static_cast<void>(book.add_result(result, {}));
        VisitRecord record;
        VisitBurst burst;
        burst.spots = {"7"}, burst.time_s = 30.0;
        record.bursts.push_back(std::move(burst));
        static_cast<void>(book.keep_guided(visit, record));
        for (const auto& table : schema::tables()) {
            Statement s{book.tables(), "SELECT name FROM pragma_table_info(?)"};
            s.with(table);
            while (s.step()) columns_.push_back({table, s.text(0)});
        }
        book.tables().execute("PRAGMA wal_checkpoint(TRUNCATE)");
        tables_ = test::slurp(case_folder() + "/case.sqlite");
        sentinel_ = folder_.file("outside.txt", "stays");
    }

    [[nodiscard]] std::string case_folder() const { return folder_.path("case"); }
    [[nodiscard]] std::string copy_folder() const { return folder_.path("copy"); }
    [[nodiscard]] const std::string& tables() const { return tables_; }
    [[nodiscard]] const std::vector<Column>& columns() const { return columns_; }
    [[nodiscard]] std::string database() const { return case_folder() + "/case.sqlite"; }

    /// The case as it was made, but for its tables.
    void lay(std::string_view tables) const {
        for (const auto& entry : fs::directory_iterator{case_folder()})
            if (entry.is_regular_file() && !entry.path().filename().string().ends_with(".json"))
                fs::remove(entry.path());
        fs::remove_all(copy_folder());
        std::ofstream{database(), std::ios::binary} << tables;
    }
    void check_outside() const {
        std::size_t entries = 0;
        for (const auto& entry : fs::directory_iterator{folder_.path(".")}) entries += entry.exists() ? 1 : 0;
        must(entries == (fs::exists(copy_folder()) ? 4U : 3U), "nothing new lies outside the case");
        must(test::slurp(sentinel_) == "stays", "nothing outside the case has changed");
    }

   private:
    test::ScratchFolder folder_;
    std::string tables_, sentinel_;
    std::vector<Column> columns_;
};

const Example& example() {
    static const Example kExample;
    return kExample;
}

void change_bytes(fuzz::Bytes& in) {
    auto tables = example().tables();
    while (!in.empty()) {
        const auto at = static_cast<std::size_t>(in.number(3)) % tables.size();
        const auto bytes = in.text();
        if (bytes.empty())
            tables.resize(std::max<std::size_t>(at, 100));
        else
            tables.replace(at, std::min(bytes.size(), tables.size() - at), bytes.substr(0, tables.size() - at));
    }
    example().lay(tables);
}

void change_values(fuzz::Bytes& in) {
    example().lay(example().tables());
    Database db{example().database(), Database::Mode::read_write};
    db.execute("PRAGMA ignore_check_constraints=ON; PRAGMA foreign_keys=OFF;");
    for (int changes = 0; !in.empty() && changes < 20; ++changes) {
        const auto& column = example().columns()[static_cast<std::size_t>(in.number(2)) % example().columns().size()];
        try {
            Statement s{db, fmt::format("UPDATE {} SET {} = ?", column.table, column.name)};
            switch (in.byte() % 4) {
                case 0:
                    s.with(static_cast<std::int64_t>(in.number(8)));
                    break;
                case 1:
                    s.with(static_cast<double>(in.number(4)) / 7.0 - 1e8);
                    break;
                case 2:
                    s.with_bytes(in.text());
                    break;
                default:
                    s.with(std::string_view{in.text()});
            }
            s.run();
        } catch (const DatabaseFault&) {
            continue;  // not a value for this column
        }
    }
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)");
}

void show(const Casebook& book, std::uint8_t what) {
    static_cast<void>(case_table(book, {}));
    if (const auto json = case_json(book, {}))
        must(!json.value().dump(2, ' ', false, Json::error_handler_t::replace).empty(), "it can be written down");
    if (const auto report = report_of(book)) {
        static_cast<void>(report_csv(report.value()));
        must(!Json::parse(report_json(report.value()), nullptr, false).is_discarded(), "the report can be parsed");
        if ((what & 4U) != 0) must(report_html(report.value()).find("<script") == std::string::npos, "no script");
    }
    static_cast<void>(check_case(book, (what & 8U) != 0 ? CheckDepth::figures : CheckDepth::files, {}));
    if ((what & 16U) != 0) static_cast<void>(export_case(book, example().copy_folder(), false));
}

/// Does it look like the work of a later program? Such a case is left alone.
bool looks_newer() {
    try {
        Database tables{example().database(), Database::Mode::read_write};
        return schema::newer(tables.whole("PRAGMA user_version"));
    } catch (const DatabaseFault&) {
        return false;
    }
}

void repair() {
    const auto newer = looks_newer();
    const auto before = test::slurp(example().database());
    const auto repaired = repair_case(example().case_folder());
    const auto book = Casebook::open(example().case_folder(), Casebook::Access::read);
    if (newer && !book) {
        must(test::slurp(example().database()) == before, "a newer program's case stays as it is");
        return;
    }
    must(static_cast<bool>(repaired), repaired ? "" : repaired.error().what.c_str());
    must(static_cast<bool>(book), book ? "" : book.error().what.c_str());
    must(book.value().car() && book.value().visits(), "and can be read");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    fuzz::Bytes in{data, size};
    const auto what = in.byte();
    if ((what & 1U) != 0)
        change_bytes(in);
    else
        change_values(in);
    if (const auto book = Casebook::open(example().case_folder(), Casebook::Access::read)) show(book.value(), what);
    if (auto book = Casebook::open(example().case_folder(), Casebook::Access::write))
        static_cast<void>(book.value().add_note({}, "one more"));
    if ((what & 2U) != 0) repair();
    example().check_outside();
    return 0;
}
