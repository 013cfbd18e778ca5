#include "src/practice/practice_visit.hpp"

#include "src/practice/practice_bay.hpp"

#include <algorithm>

namespace idlehark {

namespace {

constexpr double kSlice_s = 0.1;

SprayVisit visit_of(const sim::SessionSpec& spec) {
    VisitConfig config;
    for (const auto& s : spec.spots) config.spots.push_back(s.id);
    config.most_per_visit = std::max(config.most_per_visit, 2 * static_cast<int>(config.spots.size()));
    return SprayVisit(config);
}

VisitPlanSettings with_map(VisitPlanSettings settings, const sim::SessionSpec& spec) {
    settings.map = practice_map(spec);
    settings.idle_control = spec.engine.engine.idle_control;
    return settings;
}

}  // namespace

PracticeVisit::PracticeVisit(const sim::SessionSpec& spec, const VisitPlanSettings& settings, bool plan_in_background)
    : bay_(spec, kLongest_s),
      rate_hz_(spec.engine.sample_rate_hz),
      guided_(visit_of(spec), with_map(settings, spec), plan_in_background),
      analysis_({.sample_rate_hz = rate_hz_, .engine = spec.engine.engine},
                {.reading =
                     [this](const LiveReading& r) {
                         guided_.reading(r);
                         recent_.push_back(r);
                     },
                 .burst = [this](const HissBurst& b) { guided_.hiss(b); },
                 .order_row = {}}) {
    guided_.visit().begin_recording("practice", 0.0);
}

void PracticeVisit::follow_prompts(std::uint64_t seed) { hands_.emplace(seed); }

void PracticeVisit::spray(const std::vector<std::string>& spots) {
    std::vector<std::size_t> indices;
    for (const auto& id : spots)
        for (std::size_t i = 0; i < bay_.spec().spots.size(); ++i)
            if (bay_.spec().spots[i].id == id) indices.push_back(i);
    if (!indices.empty()) bay_.spray(now_s(), indices, indices.size() > 1 ? kPass_s : kBurst_s);
}

void PracticeVisit::use_hands() {
    const auto state = guided_.visit().state();
    if (state.stage != VisitStage::prompting) {
        spray_at_s_.reset();
        return;
    }
    if (state.prompt != followed_) {
        followed_ = state.prompt;
        std::uniform_real_distribution<double> reaction_s(1.0, 2.5);
        spray_at_s_ = state.sham ? std::nullopt : std::optional(now_s() + reaction_s(*hands_));
    }
    if (spray_at_s_ && now_s() >= *spray_at_s_) {
        spray_at_s_.reset();
        spray(state.asked);
    }
}

void PracticeVisit::run(double seconds, const std::function<void(AudioView)>& tap) {
    recent_.clear();
    std::vector<float> block(static_cast<std::size_t>(kSlice_s * rate_hz_));
    const auto until = frames_ + static_cast<std::uint64_t>(seconds * rate_hz_);
    while (frames_ < until) {
        const auto part = std::span{block}.first(std::min<std::uint64_t>(block.size(), until - frames_));
        bay_.sound().render(part);
        if (tap) tap(part);
        frames_ += part.size();
        guided_.time(now_s());
        analysis_.process(part);
        guided_.pump();
        if (hands_) use_hands();
    }
}

}  // namespace idlehark
