#pragma once

#include "dsp/engine.hpp"
#include "dsp/track/cylinder_count.hpp"

#include <cstdint>
#include <map>

namespace idlehark {

class PhaseRefiner;

/// What a run of the path means in crank speed. The firing lines of four cylinders at 600 rpm are those of three at
/// 800; the half orders between them lie apart, and say how often the crank turns whatever number of cylinders is
/// stated or fires (a dead one leaves the pattern of the others). Every run is asked before it is believed.
class RunSpeed {
   public:
    explicit RunSpeed(const Engine& engine);

    /// A run begins at `rpm`. One at nearly the speed of the last is that one, broken for a moment, and goes on with
    /// what was heard.
    void new_run(double rpm);
    /// All that was heard is doubted.
    void forget();
    /// The run's next segment, the refiner's last, at `rpm` by the stated cylinders. The first ones are heard, and now
    /// and then one later.
    void hear(PhaseRefiner& refiner, double rpm);
    /// Enough has been heard to say what the run's speed is.
    [[nodiscard]] bool known() const noexcept { return run_.known || !asks_; }
    /// What was heard since speaks against what was said.
    [[nodiscard]] bool changed() const noexcept { return run_.known && run_.factor != run_.factor_now; }
    /// Crank speed over the one by the stated cylinders.
    [[nodiscard]] double factor() const noexcept { return run_.factor; }
    /// A reading of the run that is handed out, in crank speed.
    void count(double rpm);

    /// The number of cylinders that most readings speak for where it is not the stated one; 0 otherwise. One that
    /// divides the stated number is as likely, any other likelier.
    [[nodiscard]] int likelier_cylinders() const;
    /// Mean speed of those readings as so many cylinders, rpm.
    [[nodiscard]] double likelier_rpm() const;

   private:
    struct Run {
        CylinderCount count;
        double rpm = 0.0;            ///< of its last segment, by the stated cylinders
        std::uint64_t segments = 0;  ///< so far
        bool known = false;
        int cylinders = 0;  ///< likelier than the stated ones or as likely; 0: none
        bool sure = false;  ///< of that
        double factor = 1.0, factor_now = 1.0;
        [[nodiscard]] bool goes_on_at(double rpm_now) const;
    };
    struct Tally {
        std::uint64_t readings = 0;
        double sum_rpm = 0.0;
    };
    [[nodiscard]] double factor_of(int cylinders, double rpm) const;
    Engine engine_;
    bool asks_;  ///< cylinders that fire evenly only
    Run run_, known_before_;
    std::map<int, Tally> tally_;  ///< by cylinders
};

}  // namespace idlehark
