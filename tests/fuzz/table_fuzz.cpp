// Marks and events (CSV): a message or marks in time order; what is written reads the same again.
#include "src/files/csv.hpp"
#include "src/files/marks_file.hpp"
#include "src/recording/recorder.hpp"
#include "tests/fuzz/fuzz.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <cmath>

using namespace idlehark;
using fuzz::must;

namespace {

void try_cells(std::string_view text) {
    const auto table = split_csv(text);
    std::string written;
    for (const auto& row : table.rows) {
        for (std::size_t i = 0; i < row.fields.size(); ++i) written += (i > 0 ? "," : "") + csv_field(row.fields[i]);
        written += '\n';
    }
    const auto again = split_csv(written);
    must(again.rows.size() == table.rows.size(), "no row is lost on the way");
    for (std::size_t i = 0; i < table.rows.size(); ++i)
        must(again.rows[i].fields == table.rows[i].fields, "no field is changed on the way");
}

void try_marks(const std::string& path) {
    const auto marks = read_marks(path);
    if (!marks) {
        must(!marks.error().what.empty(), "a refusal says why");
        return;
    }
    const auto& list = marks.value().marks;
    must(std::is_sorted(list.begin(), list.end(), [](const Mark& a, const Mark& b) { return a.time_s < b.time_s; }),
         "marks are in time order");
    for (const auto& m : list) must(std::isfinite(m.time_s) && !m.spot.empty(), "a mark has a time and a spot");
}

void try_events(std::string_view text) {
    static const test::ScratchFolder kFolder;
    static_cast<void>(kFolder.file("bay.events.csv", text));
    for (const auto& gap : read_gaps(kFolder.path("bay.flac")))
        must(gap.frame <= (1ULL << 62U) && gap.lost_frames <= (1ULL << 62U), "a gap is somewhere");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto text = fuzz::text_of(data, size);
    try_cells(text);
    const fuzz::MemoryFile file{text};
    try_marks(file.path());
    try_events(text);
    return 0;
}
