#include "src/desk/practice_truth.hpp"

#include "src/practice/practice_probe.hpp"
#include "src/report/injector_view.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace idlehark {

gui::ScoreView score_practice(const sim::SessionSpec& truth, const std::vector<gui::SpotView>& spots,
                              const std::vector<sim::SessionBurst>& bursts) {
    gui::ScoreView score;
    score.shown = true;
    for (std::size_t i = 0; i < truth.spots.size() && i < spots.size(); ++i) {
        const bool leaks = truth.leak_rpm[i] != 0.0;
        const bool said = spots[i].verdict == SprayVerdict::leak;
        if (leaks && said) ++score.found;
        if (leaks && !said) {
            ++score.missed;
            score.missed_spots.push_back(truth.spots[i].id);
        }
        if (!leaks && said) {
            ++score.wrong;
            score.wrong_spots.push_back(truth.spots[i].id);
        }
    }
    for (const auto& b : bursts) score.spray_s += b.duration_s;
    return score;
}

namespace {
/// Empty: nothing is wrong with it.
std::string trouble(const sim::InjectorHealth& h) {
    const sim::InjectorHealth sound;
    if (h.miss_probability > 0.0) return fmt::format("misses {:.0f} % of its clicks", 100.0 * h.miss_probability);
    if (h.level != sound.level) return "clicks more faintly than the others";
    if (h.open_close_ms != sound.open_close_ms) return fmt::format("stays open for {:.1f} ms", h.open_close_ms);
    return {};
}
}  // namespace

std::vector<std::string> debrief_injectors(const sim::SessionSpec& truth, const std::vector<gui::InjectorLine>& told) {
    std::vector<std::string> lines;
    const auto health = practice_injectors(truth);
    bool judged = false;
    for (std::size_t c = 0; c < std::min(health.size(), told.size()); ++c) {
        if (!told[c].judged) continue;
        judged = true;
        const auto odd = trouble(health[c]);
        if (!odd.empty())
            lines.push_back(fmt::format("Injector {}: {}; told: {}.", c + 1, odd, word(*told[c].judged)));
        else if (*told[c].judged != InjectorVerdict::regular)
            lines.push_back(fmt::format("Injector {}: sound; told: {}.", c + 1, word(*told[c].judged)));
    }
    if (judged && lines.empty()) lines.emplace_back("Injectors: those judged are sound, and were called so.");
    return lines;
}

}  // namespace idlehark
