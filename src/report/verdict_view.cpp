#include "src/report/verdict_view.hpp"

#include <algorithm>
#include <cstdlib>
#include <utility>

#include <fmt/format.h>

namespace idlehark {

namespace {
int rank(SprayVerdict v) noexcept {
    switch (v) {
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

std::vector<SpotRow> ranked(std::vector<SpotRow> spots) {
    std::stable_sort(spots.begin(), spots.end(), [](const SpotRow& a, const SpotRow& b) {
        return std::pair{rank(a.verdict), -size_of(a)} < std::pair{rank(b.verdict), -size_of(b)};
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
    if (count == 0) return "No leak is proven";
    return fmt::format("{} leak{}: {}", count, count == 1 ? "" : "s", leaks);
}

std::string signed_rpm(double rpm) {
    const long rounded = std::lround(rpm);
    return rounded == 0 ? "0" : fmt::format("{}{}", rounded > 0 ? "+" : "−", std::labs(rounded));
}

}  // namespace idlehark
