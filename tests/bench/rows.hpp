#pragma once

#include "dsp/statistics.hpp"

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <initializer_list>
#include <span>
#include <string>
#include <string_view>

namespace idlehark::bench {

struct Figure {
    const char* name;  ///< with its unit, as in median_percent
    double value;      ///< not finite: there is none
};

/// For a table's cell: NaN, which is none, where nothing was measured.
inline double quantile(std::span<const double> v, double share) {
    return v.empty() ? std::nan("") : stats::quantile(v, share);
}

/// Keeps a row of a bench's table, besides the text that it prints: one line of JSON, appended to the file that the
/// environment variable IDLEHARK_BENCH_ROWS names; nothing where it is not set. tests/bench.sh collects them.
inline void keep_row(const char* bench, std::string_view row, std::initializer_list<Figure> figures) {
    const char* path = std::getenv("IDLEHARK_BENCH_ROWS");
    if (!path || !*path) return;
    std::FILE* file = std::fopen(path, "a");
    if (!file) {
        std::perror(path);
        std::exit(2);
    }
    std::string name;
    for (const char c : row) {
        if (c == '"' || c == '\\') name += '\\';
        name += c;
    }
    std::fprintf(file, "{\"bench\": \"%s\", \"row\": \"%s\"", bench, name.c_str());
    for (const auto& f : figures) {
        if (std::isfinite(f.value))
            std::fprintf(file, ", \"%s\": %.6g", f.name, f.value);
        else
            std::fprintf(file, ", \"%s\": null", f.name);
    }
    std::fprintf(file, "}\n");
    std::fclose(file);
}

}  // namespace idlehark::bench
