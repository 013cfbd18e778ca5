#include "src/analysis/match_hiss.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <tuple>

namespace idlehark {

std::vector<std::optional<HissBurst>> match_hiss(std::span<const double> marks_s, std::span<const HissBurst> heard) {
    std::vector<std::tuple<double, std::size_t, std::size_t>> pairs;  // distance, mark, hiss
    for (std::size_t m = 0; m < marks_s.size(); ++m)
        for (std::size_t h = 0; h < heard.size(); ++h)
            if (const double d = std::fabs(marks_s[m] - heard[h].time_s); d <= kMarkReach_s)
                pairs.emplace_back(d, m, h);
    std::sort(pairs.begin(), pairs.end());
    std::vector<std::optional<HissBurst>> match(marks_s.size());
    std::vector<bool> taken(heard.size(), false);
    for (const auto& [distance, m, h] : pairs) {
        if (match[m] || taken[h]) continue;
        match[m] = heard[h];
        taken[h] = true;
    }
    return match;
}

}  // namespace idlehark
