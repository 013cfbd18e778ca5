#include "src/analysis/marks_once.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace idlehark {

namespace {
constexpr double kOneBurst_s = 1.0;
}

std::vector<Mark> marks_once(std::span<const Mark> marks, const std::string& file, std::vector<std::string>& said) {
    std::vector<const Mark*> by_time;
    for (const auto& m : marks) by_time.push_back(&m);
    std::stable_sort(by_time.begin(), by_time.end(),
                     [](const Mark* a, const Mark* b) { return a->time_s < b->time_s; });
    std::vector<const Mark*> kept;
    for (const auto* m : by_time) {
        bool twice = false;
        for (auto before = kept.rbegin(); before != kept.rend(); ++before) {
            const auto& earlier = **before;
            if (m->time_s - earlier.time_s >= kOneBurst_s) break;
            twice = twice || earlier.spot == m->spot;
            said.push_back(earlier.spot == m->spot
                               ? fmt::format("{}: spot {} is marked at {:g} and {:g} s; counted once", file, m->spot,
                                             earlier.time_s, m->time_s)
                               : fmt::format("{}: spots {} and {} are marked within a second, at {:g} s; what the "
                                             "speed did then counts for both",
                                             file, earlier.spot, m->spot, m->time_s));
        }
        if (!twice) kept.push_back(m);
    }
    std::vector<Mark> out;
    for (const auto& m : marks)
        if (std::find(kept.begin(), kept.end(), &m) != kept.end()) out.push_back(m);
    return out;
}

}  // namespace idlehark
