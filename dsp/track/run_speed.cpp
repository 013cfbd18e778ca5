#include "dsp/track/run_speed.hpp"

#include "dsp/stated_idle.hpp"
#include "dsp/track/phase_refiner.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace idlehark {

namespace {
constexpr std::uint64_t kFirstSegments = 6;  // half a second each, heard one and all
constexpr std::uint64_t kLaterEvery = 5;
constexpr double kSameRun = 0.15;  // logarithm: what a surging engine may do meanwhile; five and six lie 0.18 apart
}  // namespace

bool RunSpeed::Run::goes_on_at(double rpm_now) const {
    return segments > 0 && std::abs(std::log(rpm_now / rpm)) < kSameRun;
}

RunSpeed::RunSpeed(const Engine& engine)
    : engine_(engine),
      asks_(engine.firing_angles_deg.empty()),
      run_{.count = CylinderCount(engine.cylinders)},
      known_before_(run_) {}

void RunSpeed::new_run(double rpm) {
    if (run_.goes_on_at(rpm)) return;
    if (known_before_.goes_on_at(rpm)) {
        std::swap(run_, known_before_);
        return;
    }
    if (run_.known) known_before_ = run_;
    forget();
}

void RunSpeed::forget() { run_ = {.count = CylinderCount(engine_.cylinders)}; }

void RunSpeed::hear(PhaseRefiner& refiner, double rpm) {
    run_.rpm = rpm;
    ++run_.segments;
    if (!asks_ || (run_.segments > kFirstSegments && run_.segments % kLaterEvery != 0)) return;
    refiner.hear_count(run_.count);
    if (!run_.count.asked()) return;
    const int likelier = run_.count.likelier();
    const int cylinders = likelier > 0 ? likelier : run_.count.as_likely();
    const bool sure = likelier == 0 || (run_.sure && run_.cylinders == likelier) || run_.count.speaks_against_stated();
    if (cylinders != run_.cylinders || sure != run_.sure) run_.factor_now = sure ? factor_of(cylinders, rpm) : 1.0;
    run_.cylinders = cylinders;
    run_.sure = sure;
    if (!run_.known) run_.factor = run_.factor_now;
    run_.known = true;
}

/// The stated idle is a witness, too. Against it and the stated cylinders the half orders are only reported; where they
/// leave the choice, it decides.
double RunSpeed::factor_of(int cylinders, double rpm) const {
    if (cylinders == 0) return 1.0;
    const double factor = static_cast<double>(engine_.cylinders) / cylinders;
    const bool as_heard = is_stated_idle(engine_, Rpm{rpm});
    const bool otherwise = is_stated_idle(engine_, Rpm{rpm * factor});
    const bool choice = engine_.cylinders % cylinders == 0;
    const bool keep = choice ? as_heard || !otherwise : as_heard && !otherwise;
    return keep ? 1.0 : factor;
}

void RunSpeed::count(double rpm) {
    // Where the stated idle has settled a choice, nothing is left to tell.
    const bool settled = run_.cylinders == 0 || (engine_.cylinders % run_.cylinders == 0 && run_.factor != 1.0);
    auto& t = tally_[settled ? 0 : run_.cylinders];
    ++t.readings;
    t.sum_rpm += settled ? rpm : rpm / run_.factor * engine_.cylinders / run_.cylinders;
}

int RunSpeed::likelier_cylinders() const {
    const auto most = std::max_element(tally_.begin(), tally_.end(), [](const auto& a, const auto& b) {
        return a.second.readings < b.second.readings;
    });
    return most == tally_.end() ? 0 : most->first;
}

double RunSpeed::likelier_rpm() const {
    const int cylinders = likelier_cylinders();
    if (cylinders == 0) return 0.0;
    const Tally& t = tally_.at(cylinders);
    return t.sum_rpm / static_cast<double>(t.readings);
}

}  // namespace idlehark
