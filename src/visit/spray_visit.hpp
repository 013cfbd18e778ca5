#pragma once

#include "src/analysis/match_hiss.hpp"
#include "src/visit/caution_gate.hpp"

#include <cstddef>
#include <deque>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// Where a visit stands. The only way to `prompting` leads through an open gate and a settled idle.
enum class VisitStage {
    gate,       ///< cautions are being answered; nothing else is offered
    settling,   ///< the quiet idle that everything is compared with
    planning,   ///< the owner is to work out a plan and hand it in with `take`
    waiting,    ///< a step is planned, but it is not the time yet: see `waits`
    prompting,  ///< the spot has been named; its burst is expected now
    answering,  ///< the answer to a burst is measured: silence, no prompts
    done,       ///< decided, or the limits are reached: `why` says which
    stopped,    ///< by the user; for good
};
[[nodiscard]] const char* word(VisitStage stage) noexcept;

/// Why no prompt falls now.
enum class VisitWait { by_hand, lock_lost, signal_gap, not_at_baseline, spacing, drying };
[[nodiscard]] const char* word(VisitWait wait) noexcept;

struct VisitConfig {
    std::vector<std::string> spots;     ///< ids of the map, in its order
    double settle_s = 25.0;             ///< of locked idle without a gap
    double answer_s = 10.0;             ///< from the start of a burst: nothing is said
    double spacing_s = 14.0;            ///< between the starts of two bursts, anywhere
    double drying_s = 30.0;             ///< between two bursts on one spot
    double longest_recovery_s = 30.0;   ///< after this a steady idle counts as back, at whatever speed
    double lost_s = 5.0;                ///< without a locked reading: the lock is lost; readings themselves are late
    double after_gap_s = 6.0;           ///< of locked readings, before anything is asked again
    double patience_s = 45.0;           ///< a prompt without a burst is said again
    double sham_after_s = 3.0;          ///< the moment that counts, after a prompt without spray
    double key_reach_s = kMarkReach_s;  ///< a hiss this near to a key is the same burst
    int most_per_spot = 6;
    int most_per_visit = 60;
};

/// What the planner answers: the next step, or the end and why. Spots by id.
struct VisitPlan {
    enum class Outcome { step, decided, out_of_limits };
    Outcome outcome = Outcome::step;
    std::vector<std::string> spots;  ///< of the step: one, or neighbours misted in one pass
    bool sham = false;               ///< aim and do not press: what the prompt alone does to the idle
    std::string why;                 ///< why this step now, or why it ends here
    std::string would_change;        ///< what would change the decision
    int at_most_more = 0;            ///< bursts that remain at most
    double smallest_provable_rpm = std::numeric_limits<double>::quiet_NaN();
    std::vector<std::string> decided;  ///< these are not sprayed while that stands
};

/// One burst, or one sham. Nothing is ever deleted: what is undone is kept and marked.
struct VisitBurst {
    std::vector<std::string> spots;
    bool sham = false;
    double time_s = 0.0;  ///< start of the spray, visit time
    bool by_key = false;  ///< a key told the time; else the hiss did
    std::optional<double> found_onset_s;
    std::optional<double> found_duration_s;
    bool asked = true;      ///< as prompted; else off-plan, or said to have been another spot
    bool near_gap = false;  ///< sound was lost while its answer was measured
    bool undone = false;
    /// Spray that stands: neither undone nor a sham.
    [[nodiscard]] bool counts() const noexcept { return !undone && !sham; }
};

/// Spots put aside in one go.
struct VisitSkip {
    std::vector<std::string> spots;
    std::size_t after_bursts = 0;  ///< how many the record had: what was planned before knew nothing of it
    friend bool operator==(const VisitSkip&, const VisitSkip&) = default;
};

/// What the visit's time goes on by between two recordings: of the break itself nothing is known.
inline constexpr double kBetweenRecordings_s = 30.0;

/// A recording of the visit; its second 0 is `offset_s` of the visit's time.
struct VisitRecording {
    std::string name;
    double offset_s = 0.0;
};

/// Everything that a visit is, as plain values: what a case stores and a later session resumes from.
struct VisitRecord {
    struct Answer {
        std::string key;  ///< of the caution point
        bool yes = false;
        double time_s = 0.0;
    };
    std::vector<Answer> cautions;  ///< every answer in the order given, of all sessions
    std::vector<VisitRecording> recordings;
    std::vector<VisitBurst> bursts;
    std::vector<VisitSkip> skipped;  ///< in the order given
    std::vector<std::string> decided;
    double clock_s = 0.0;  ///< the visit's time when this was taken
    double smallest_provable_rpm = std::numeric_limits<double>::quiet_NaN();
    std::string ended;  ///< why, if it did
};
/// How many of its bursts count.
[[nodiscard]] int sprayed_bursts(const VisitRecord& record) noexcept;
/// Whether a spot was skipped twice, and is not asked for any more.
[[nodiscard]] bool left_out(const VisitRecord& record, const std::string& spot);

/// What to show and say. A copy: the owner may hand it to another thread.
struct VisitState {
    VisitStage stage = VisitStage::gate;
    std::string next_step;  ///< one sentence, plain words
    std::string why;        ///< of the step asked or of the end
    std::string would_change;
    std::string notice;  ///< what the last event did, if it is worth a line
    std::vector<VisitWait> waits;
    double wait_s = 0.0;             ///< how long spacing and drying still take
    double settled = 0.0;            ///< 0..1
    std::vector<std::string> asked;  ///< spots of the step planned or prompted
    bool sham = false;
    unsigned prompt = 0;  ///< rises by one with each thing to say aloud
    std::string spoken;   ///< the newest of them
    double baseline_rpm = std::numeric_limits<double>::quiet_NaN();
    double smallest_provable_rpm = std::numeric_limits<double>::quiet_NaN();
    int bursts = 0;  ///< that count
    int at_most_more = 0;
    [[nodiscard]] bool asks_for_spray() const noexcept { return stage == VisitStage::prompting && !sham; }
};

/// A guided spray test as a state machine: events in, state out. The window and `listen --guide` are two faces of it.
/// Input    all times are seconds of the visit (those of the first recording; later recordings go on behind it) and are
///          passed in; they may come late, never backwards by more than a hiss needs to be found (about 8 s).
/// Use      `time()` and `reading()` as the sound goes by; `key()` when a burst is marked by hand, `hiss()` when one
/// was
///          heard. When `wants_plan()`, work out the next step (any thread) and `take()` it. Look at `state()`; when
///          `prompt` has risen, say `spoken`. `record()` after each event is what the case stores.
/// Gate     no prompt while any caution is not answered yes; an answer taken back withdraws the prompt. A resumed visit
///          asks again.
/// Limits   kept here, whatever the planner asks for: per spot, per visit, spacing, drying, decided spots.
/// Errors   constructor: std::invalid_argument (no spots, a figure out of range). Events: never; a step that may not be
///          taken is refused with the reason.
/// Threads  one owner.
class SprayVisit {
   public:
    explicit SprayVisit(VisitConfig config);
    /// Goes on with a stored visit: its bursts, limits and decisions stand; the gate and settling start afresh.
    SprayVisit(VisitConfig config, VisitRecord record);

    // Events.
    void begin_recording(const std::string& name, double offset_s);
    void time(double now_s);
    void answer(std::size_t caution_point, bool yes);
    void reading(double time_s, double rpm, bool locked);
    void gap(double time_s);  ///< sound was lost here
    void hiss(double onset_s, double duration_s);
    /// The user says "now". `spot` empty: as asked, now or a moment ago (ignored when nothing was); else there, asked
    /// or not.
    void key(double time_s, const std::string& spot = {});
    void repeat();  ///< says the prompt again; with none out, the last spot comes once more, as the next step
    void skip();    ///< not this spot now; a spot skipped twice is left out
    /// The last burst went to this spot; or the newest hiss that nobody asked for did.
    void wrong_spot(const std::string& spot);
    void undo();  ///< the last burst was none, or was spoilt
    /// No prompt falls while it lasts, one that is out is withdrawn; what is heard goes on being measured.
    void pause(bool on);
    [[nodiscard]] bool paused() const noexcept { return paused_; }
    void stop(std::string why = "Stopped by you.");

    // The plan.
    [[nodiscard]] bool wants_plan() const noexcept { return stage_ == VisitStage::planning; }
    /// Rises with everything that a plan rests on: a burst, when and where it was, what is undone or skipped. A plan
    /// worked out at another one is stale.
    [[nodiscard]] unsigned revision() const noexcept { return revision_; }
    /// True if taken; else `state().notice` says what forbids it, and the visit goes on wanting a plan.
    bool take(const VisitPlan& plan);
    /// Why a burst on this spot may not be asked for; nothing if it may. Drying is no reason: it is waited for.
    [[nodiscard]] std::optional<std::string> forbidden(const std::string& spot) const;
    [[nodiscard]] int bursts_on(const std::string& spot) const;
    /// Skipped twice.
    [[nodiscard]] bool left_out(const std::string& spot) const;

    [[nodiscard]] const VisitConfig& config() const noexcept { return config_; }
    [[nodiscard]] const CautionGate& cautions() const noexcept { return gate_; }
    [[nodiscard]] VisitState state() const;
    [[nodiscard]] const VisitRecord& record() const noexcept { return record_; }
    [[nodiscard]] double now_s() const noexcept { return record_.clock_s; }

   private:
    struct Sample {
        double time_s;
        double rpm;
    };
    /// When a prompt stood, and hands followed it.
    struct Prompted {
        double from_s;
        double to_s = std::numeric_limits<double>::infinity();
    };
    void settle_or_go_on();
    void advance();
    [[nodiscard]] VisitPlan once_more(VisitPlan step);
    void plan_anew();
    /// What a plan decided that rests on what has changed since: as if it had not been taken.
    void give_plan_back();
    void no_longer_decided(const std::vector<std::string>& spots);
    void found(VisitBurst& burst, double onset_s, double duration_s);
    void next_step(VisitPlan plan);
    void prompt();
    void say(std::string text);
    void withdraw();
    void burst(std::vector<std::string> spots, double time_s, bool by_key, bool asked, bool sham);
    void end(VisitStage stage, std::string why);
    [[nodiscard]] std::vector<VisitWait> waits() const;
    [[nodiscard]] double wait_s() const;
    /// Whether spray at this time is what was asked for: hands still follow a prompt that has just been withdrawn.
    [[nodiscard]] bool follows_prompt(double time_s) const;
    [[nodiscard]] bool locked() const noexcept;
    [[nodiscard]] std::optional<double> mean_rpm(double from_s, double to_s) const;
    [[nodiscard]] double tolerance_rpm() const;
    [[nodiscard]] bool back_at_baseline() const;
    [[nodiscard]] VisitBurst* last_burst();
    [[nodiscard]] std::string sentence() const;

    VisitConfig config_;
    CautionGate gate_;
    VisitRecord record_;
    VisitStage stage_ = VisitStage::gate;
    std::optional<VisitPlan> plan_;
    std::vector<std::string> decided_before_;  ///< the plan that was taken last
    std::vector<std::string> again_;           ///< spots that the user wants in place of the next plan's
    std::deque<Sample> recent_;                ///< locked readings of the last minute
    double last_locked_s_ = -std::numeric_limits<double>::infinity();
    double steady_from_s_ = std::numeric_limits<double>::infinity();  ///< locked without a break since
    double last_gap_s_ = -std::numeric_limits<double>::infinity();
    double last_burst_s_ = -std::numeric_limits<double>::infinity();
    std::vector<Prompted> prompted_;                            ///< of this step
    double said_s_ = -std::numeric_limits<double>::infinity();  ///< its prompt, the last time
    double last_prompt_s_ = 0.0;                                ///< that the last burst followed
    double baseline_rpm_ = std::numeric_limits<double>::quiet_NaN();
    double unrest_rpm_ = 0.0;                              ///< spread of short means of the settled idle
    std::optional<std::pair<double, double>> stray_hiss_;  ///< onset, duration: nobody asked for it
    bool paused_ = false;
    unsigned prompts_ = 0;
    unsigned revision_ = 0;
    std::string spoken_;
    std::string notice_;
};

}  // namespace idlehark
