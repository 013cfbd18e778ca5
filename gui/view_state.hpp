#pragma once

#include "dsp/balance/balance.hpp"
#include "dsp/bay_map.hpp"
#include "dsp/compare/change.hpp"
#include "dsp/engine.hpp"
#include "dsp/evidence/spray_test.hpp"
#include "dsp/hiss/hiss_survey.hpp"
#include "dsp/injectors/injector_set.hpp"
#include "dsp/track/order_rows.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace idlehark::gui {

/// The way through, in order. One can jump, but spray is prompted only behind the gate of this visit.
enum class Stage { describe, log, map, gate, settle, listen_first, spray, injectors, compare, report };
inline constexpr std::size_t kStages = 10;

/// Where the sound comes from. Kept: it was heard earlier, and is shown as the case has it.
enum class Mode { none, live, replay, practice, kept };

/// How the sound stands, always on the screen. NaN where there is no number.
struct SoundView {
    Mode mode = Mode::none;
    std::string source;  ///< the device or the recording
    bool running = false;
    double now_s = 0.0;  ///< of the recording
    double rpm = std::nan("");
    double rpm_low = std::nan(""), rpm_high = std::nan("");
    bool locked = false;
    double peak_dbfs = -200.0;
    double held_dbfs = -200.0;  ///< the highest of the last two seconds
    bool clipped = false;       ///< lately
    std::uint64_t gaps = 0, dropped_frames = 0;
    bool recording = false;
    double recorded_s = 0.0;
};

struct TracePoint {
    double time_s = 0.0;
    double rpm = std::nan("");  ///< NaN: no lock
    double low = std::nan(""), high = std::nan("");
};

struct BurstOnTrace {
    double time_s = 0.0;
    double duration_s = std::nan("");  ///< NaN: not heard (yet)
    std::string spot;
};

/// One spot of the map with what is known about it.
struct SpotView {
    MapSpot place;
    int bursts = 0;
    double change_rpm = std::nan("");
    double low_rpm = std::nan(""), high_rpm = std::nan("");
    std::optional<SprayVerdict> verdict;  ///< nothing before the first burst
    bool prompted = false;                ///< to be sprayed (or listened at) now
    bool decided = false;                 ///< needs no more spray
    bool hiss_taken = false;              ///< a recording of the survey is there
    std::optional<double> hiss_db;        ///< of the survey without spray, against the middle of the others
    double hiss_low_db = std::nan(""), hiss_high_db = std::nan("");
    std::optional<HissVerdict> hiss_verdict;
    bool hiss_stands_out = false;
    bool truth_leak = false;  ///< practice, after the end: a hidden leak was here
};

enum class LogAnswer { not_done, ok, faulty };
/// A line of the elimination log: what other than a leak was looked at.
struct LogLine {
    std::string name, unit;
    std::optional<double> low, high, reading;  ///< limits from the user's own manual
    LogAnswer answer = LogAnswer::not_done;
    std::string note;
    friend bool operator==(const LogLine&, const LogLine&) = default;
};

/// What the gate asks, in order; the words are in words.def.
enum class GatePoint {
    extinguisher,
    no_fuel_smell,
    ignition_leads,
    outdoors,
    brake_and_chocks,
    clear_of_fan,
    hot_parts,
    eyes,
    label_read,
    nobody_near
};
inline constexpr std::size_t kGatePoints = 10;

struct GateView {
    bool alternatives_seen = false;                        ///< what finds a leak without flammable spray was offered
    std::array<std::optional<bool>, kGatePoints> answers;  ///< nothing: not asked yet in this visit
    bool open = false;                                     ///< all ten confirmed, in this visit
};

struct SettleView {
    double heard_s = 0.0, needed_s = 25.0;
    double idle_rpm = std::nan(""), hunting_rpm = std::nan("");
    double smallest_provable_rpm = std::nan("");
    double matters_rpm = 15.0;
    bool done = false;
};

enum class SprayPhase {
    shut,       ///< the gate has not been answered in this visit
    settling,   ///< the quiet stretch is not over
    prompt,     ///< spray this spot now
    bursting,   ///< marked by hand, not yet heard
    answering,  ///< the idle's answer is measured
    drying,
    paused,
    finished,
    stopped
};
enum class PauseReason { none, lock_lost, not_at_baseline, sound_lost, by_hand };

/// How the prompts are given besides the screen.
enum class Prompts { off, beep, spoken };

/// The spray test at this moment.
struct SprayView {
    SprayPhase phase = SprayPhase::shut;
    PauseReason pause = PauseReason::none;
    std::string spot, spot_name;     ///< prompted, or sprayed last; several in one pass: "3, 4"
    std::vector<std::string> spots;  ///< the same, one by one
    bool together = false;           ///< neighbours may be misted in one pass, after the first round
    bool sham = false;               ///< aim only: what the prompt alone does to the idle
    double wait_s = 0.0;             ///< until the next prompt, where it is known
    int bursts = 0, most_bursts = 0;
    int decided = 0;
    Prompts prompts = Prompts::off;
    std::string why, notice;  ///< the plan's own words: why this step; what the last event did
};

/// What is recorded on purpose: the whole engine idling, or the probe at an injector or a spot.
enum class TakeKind { idle, injector, hiss };

/// A take: hold still, so long.
struct TakeView {
    bool running = false;
    TakeKind kind = TakeKind::hiss;
    std::string place;  ///< spot or cylinder
    double done_s = 0.0, needed_s = 10.0;
};

/// An injector's clicks laid over each other, cycle on cycle: power against the noise's.
struct ClickView {
    std::vector<double> power;
    double from_ms = 0.0, step_ms = 0.0;
    double open_ms = std::nan(""), close_ms = std::nan("");
};

struct InjectorLine {
    int cylinder = 0;
    bool taken = false;
    double rate_hz = std::nan(""), expected_hz = std::nan("");
    double missed_percent = std::nan(""), missed_low = std::nan(""), missed_high = std::nan("");
    double jitter_us = std::nan(""), open_close_ms = std::nan(""), level_db = std::nan("");
    std::optional<InjectorVerdict> judged;    ///< nothing before the comparison
    std::shared_ptr<const ClickView> clicks;  ///< as soon as the take has been looked at
};

/// A cylinder's share in the balance.
struct CylinderLine {
    std::string name;  ///< its number; a letter in firing order where the sound alone cannot tell which it is
    std::vector<int> at_tail_pipe;  ///< what it is instead if the microphone was there; mostly none
    double strength = std::nan(""), strength_low = std::nan(""), strength_high = std::nan("");
    double misfire_percent = std::nan(""), misfire_low = std::nan(""), misfire_high = std::nan("");
    CylinderVerdict verdict = CylinderVerdict::undecided;
};
struct BalanceState {
    std::vector<CylinderLine> cylinders;  ///< empty: not measured
    bool named = false;                   ///< by cylinder number
    double half_order_share = std::nan("");
    std::vector<std::string> cautions;
};

/// One figure of two visits.
struct CompareLine {
    std::string figure, name, unit;
    double before = std::nan(""), after = std::nan("");
    double difference = std::nan(""), low = std::nan(""), high = std::nan("");
    ChangeVerdict verdict = ChangeVerdict::unknown;
};
struct CompareState {
    std::int64_t before_visit = 0, after_visit = 0;
    std::vector<CompareLine> lines;
    std::vector<std::string> cautions, notes;
    std::string refusal;  ///< why the two cannot be compared; no lines then
    bool anyway = false;  ///< the refusal can be overruled
};

// --- what the case holds ---------------------------------------------------------------------------------------------

struct KeptRecording {
    std::string file;
    TakeKind kind = TakeKind::idle;
    double length_s = 0.0;
};
/// A point of caution as it was answered last, in the words it was asked in.
struct KeptAnswer {
    std::string question;
    bool yes = false;
    std::string at;
};
/// A burst of a guided test.
struct KeptBurst {
    double time_s = 0.0;
    double duration_s = std::nan("");  ///< NaN: not heard
    std::string spots;
    bool sham = false, by_hand = false, as_asked = true, near_gap = false, undone = false;
};
struct KeptSpot {
    std::string spot;
    int bursts = 0;
    double change_rpm = std::nan(""), low_rpm = std::nan(""), high_rpm = std::nan("");
    SprayVerdict verdict = SprayVerdict::undecided;
};
struct KeptHiss {
    std::string spot;
    double level_db = std::nan(""), low_db = std::nan(""), high_db = std::nan("");
    HissVerdict verdict = HissVerdict::undecided;
};
/// A spray test's verdict.
struct KeptTest {
    std::string recording;
    bool guided = false;
    double idle_rpm = std::nan(""), hunting_rpm = std::nan(""), smallest_provable_rpm = std::nan("");
    double matters_rpm = std::nan(""), length_s = std::nan("");
    std::vector<KeptSpot> spots;
    std::vector<BurstOnTrace> bursts;
    std::vector<std::string> cautions, notes;
};
/// One day at the car, as it is stored.
struct KeptVisit {
    std::int64_t id = 0;
    std::string date, title, warmth, device, note;
    double idle_rpm = std::nan("");
    std::vector<KeptRecording> recordings;
    std::vector<KeptAnswer> answers;
    std::vector<KeptBurst> bursts;  ///< of the guided test
    std::vector<std::string> skipped;
    std::string ended;
    std::vector<KeptTest> tests;
    std::vector<InjectorLine> injectors;
    BalanceState balance;
    std::vector<KeptHiss> hiss;
    std::vector<std::string> remarks, failed;
    bool comparable = false;  ///< has the sound of an idle
};
struct KeptCase {
    std::string name;
    std::vector<KeptVisit> visits;
    std::vector<std::string> notes;
    [[nodiscard]] const KeptVisit* find(std::int64_t id) const noexcept {
        for (const auto& v : visits)
            if (v.id == id) return &v;
        return nullptr;
    }
};

/// A case that could be opened.
struct KnownCase {
    std::string folder, name, last_date;
    std::size_t visits = 0;
    bool last = false;  ///< the one open when the window was closed
};

/// Long work behind the window.
struct JobView {
    bool running = false;
    std::string what;
    double done = 0.0;  ///< 0..1
};

struct Fault {
    std::string what, hint;
    std::uint64_t number = 0;  ///< counts faults, so that a closed one does not come back
};

/// An invented engine of the practice bay; what is wrong with it is told at the end.
struct PracticeOffer {
    int number = 0;
    std::string name, complaint;
};

struct ScoreView {
    bool shown = false;
    int found = 0, missed = 0, wrong = 0;
    std::vector<std::string> missed_spots, wrong_spots;
    double spray_s = 0.0;
    std::vector<std::string> debrief;  ///< in plain sentences, the result first
};

/// All that the window shows. Plain values; a new one is handed over whole, never changed in place.
struct ViewState {
    std::uint64_t revision = 0;
    Stage stage = Stage::describe;    ///< where the work stands; the window may look elsewhere
    std::uint64_t stage_edition = 0;  ///< counts when the work moved on by itself: the window follows
    Engine engine;
    std::uint64_t engine_edition = 0;  ///< counts changes of engine and log that did not come from this window
    std::string engine_fault;
    BayMap map;
    std::uint64_t map_edition = 0;  ///< counts changes of the map that did not come from this window
    std::string map_folder;         ///< where its picture lies, if it has one by name
    std::vector<SpotView> spots;
    std::vector<LogLine> log;
    SoundView sound;
    std::shared_ptr<const std::vector<TracePoint>> trace;  ///< the last minutes
    std::vector<BurstOnTrace> bursts;
    std::vector<std::shared_ptr<const OrderRow>> orders;  ///< the last half minute's, newest last
    GateView gate;
    SettleView settle;
    SprayView spray;
    TakeView take;
    std::vector<InjectorLine> injectors;
    BalanceState balance;
    std::shared_ptr<const CompareState> compare;  ///< nothing before the first comparison
    std::string headline;                         ///< of the verdict; empty: none yet
    std::vector<std::string> cautions, notes;
    std::string case_folder;
    std::shared_ptr<const KeptCase> kept;  ///< what the open case holds; nothing if none is open
    std::int64_t visit_shown = 0;  ///< of the case: spots, bursts, trace and results are its; 0: those under way
    std::vector<KnownCase> known_cases;
    std::vector<std::string> written;  ///< files of the report
    std::vector<std::string> devices;
    JobView job;
    std::optional<Fault> fault;
    ScoreView score;
    std::shared_ptr<const std::vector<PracticeOffer>> practice_engines;
};

}  // namespace idlehark::gui
