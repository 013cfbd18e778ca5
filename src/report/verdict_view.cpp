#include "src/report/verdict_view.hpp"

#include <algorithm>
#include <cstdlib>
#include <utility>

#include <fmt/format.h>

namespace idlehark {

namespace {
int rank(const SpotRow& spot) noexcept {
    if (spot.not_sprayed()) return 4;
    switch (spot.verdict) {
        case SprayVerdict::leak:
            return 0;
        case SprayVerdict::overspray:
            return 1;
        case SprayVerdict::undecided:
            return 2;
        case SprayVerdict::none_seen:
            break;
    }
    return 3;
}
double size_of(const SpotRow& s) noexcept { return std::isfinite(s.change_rpm) ? std::fabs(s.change_rpm) : -1.0; }
}  // namespace

std::string_view word(const SpotRow& spot) noexcept { return spot.not_sprayed() ? "not sprayed" : word(spot.verdict); }

std::vector<SpotRow> ranked(std::vector<SpotRow> spots) {
    std::stable_sort(spots.begin(), spots.end(), [](const SpotRow& a, const SpotRow& b) {
        return std::pair{rank(a), -size_of(a)} < std::pair{rank(b), -size_of(b)};
    });
    return spots;
}

std::string headline(const VerdictView& view, bool names) {
    std::string leaks;
    int count = 0;
    for (const auto& s : ranked(view.spots)) {
        if (s.verdict != SprayVerdict::leak) continue;
        leaks += (count++ == 0 ? "" : ", ") + s.spot;
        if (names && !s.name.empty()) leaks += " (" + s.name + ")";
    }
    if (count == 0) {
        const auto left_out =
            std::count_if(view.spots.begin(), view.spots.end(), [](const SpotRow& s) { return s.not_sprayed(); });
        return left_out == 0
                   ? "No leak is proven"
                   : fmt::format("No leak is proven; {} of {} spots not sprayed", left_out, view.spots.size());
    }
    return fmt::format("{} leak{}: {}", count, count == 1 ? "" : "s", leaks);
}

std::string signed_rpm(double rpm) {
    const long rounded = std::lround(rpm);
    return rounded == 0 ? "0" : fmt::format("{}{}", rounded > 0 ? "+" : "−", std::labs(rounded));
}

}  // namespace idlehark
