#pragma once

#include "src/analysis/spray_session.hpp"
#include "src/desk/desk.hpp"
#include "src/desk/desk_case.hpp"
#include "src/desk/job.hpp"
#include "src/desk/prompter.hpp"
#include "src/desk/sound_run.hpp"
#include "src/report/verdict_view.hpp"
#include "src/visit/guided_visit.hpp"

#include <condition_variable>
#include <deque>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <thread>
#include <utility>
#include <vector>

namespace idlehark {

inline constexpr int kPickUpChannel = 2;  ///< of a recording of microphone and pick-up

/// The desk's own thread and all it owns. Everything but `view()` and `send()` belongs to that thread.
class Desk::Worker {
   public:
    explicit Worker(const DeskOptions& options);
    ~Worker();
    [[nodiscard]] std::shared_ptr<const gui::ViewState> view() const;
    void send(gui::Command command);

   private:
    void run(const std::stop_token& stop);
    void publish();
    void fault(const Error& error);
    /// The window is to follow to this page.
    void lead_to(gui::Stage stage);

    // One for each command.
    void on(const gui::ask::NewCase&);
    void on(const gui::ask::OpenCase&);
    void on(const gui::ask::ShowVisit&);
    void on(const gui::ask::ListDevices&);
    void on(const gui::ask::StartLive&);
    void on(const gui::ask::StartReplay&);
    void on(const gui::ask::StartPractice&);
    void on(const gui::ask::Stop&);
    void on(const gui::ask::SetStage&);
    void on(const gui::ask::SetEngine&);
    void on(const gui::ask::SetLog&);
    void on(const gui::ask::SetMap&);
    void on(const gui::ask::AlternativesSeen&);
    void on(const gui::ask::AnswerGate&);
    void on(const gui::ask::SetMatters&);
    void on(const gui::ask::SetPasses&);
    void on(const gui::ask::StartSpray&);
    void on(const gui::ask::Sprayed&);
    void on(const gui::ask::SprayHere&);
    void on(const gui::ask::SprayedElsewhere&);
    void on(const gui::ask::RepeatSpot&);
    void on(const gui::ask::SkipSpot&);
    void on(const gui::ask::UndoBurst&);
    void on(const gui::ask::SetPrompts&);
    void on(const gui::ask::PauseSpray&);
    void on(const gui::ask::FinishSpray&);
    void on(const gui::ask::StartTake&);
    void on(const gui::ask::TakeFile&);
    void on(const gui::ask::StartIdleTake&);
    void on(const gui::ask::IdleFile&);
    void on(const gui::ask::StopTake&);
    void on(const gui::ask::JudgeHiss&);
    void on(const gui::ask::JudgeInjectors&);
    void on(const gui::ask::Compare&);
    void on(const gui::ask::WriteReport&);
    void on(const gui::ask::ShowScore&);
    void on(const gui::ask::Tell&);
    void on(const gui::ask::CancelJob&);
    void on(const gui::ask::CloseFault&);

    // Sound.
    [[nodiscard]] SoundRun::Start start_of(const std::string& record_path) const;
    [[nodiscard]] Result<std::unique_ptr<SoundRun>> microphone(const std::string& device,
                                                               const SoundRun::Start& start) const;
    void begin_run(Result<std::unique_ptr<SoundRun>> run, gui::Mode mode);
    void end_run(const std::string& why);
    void listen();
    void take_news(const LiveNews& news);
    /// The case, made if there is none yet.
    Result<Done> ensure_case();
    /// A path inside the case for a recording that begins now.
    Result<std::string> fresh_path(RecordingKind kind, const std::string& name);
    void withdraw_recording();
    /// What the forms and the visit hold, into the case if there is one.
    void keep_all();
    void check_kept(const Result<Done>& kept);
    /// `pick_up_cylinder`: on its lead, on the second channel; 0: none.
    void measure_recording(RowId recording, int pick_up_cylinder = 0);

    // The case.
    /// What is looked at before any spray, for the log of a new case.
    [[nodiscard]] static std::vector<gui::LogLine> usual_log();
    /// The visit under way is over if it has sprayed; its points of caution are asked again either way.
    void leave_visit();
    /// No case is open any more, nor anything of it shown.
    void leave_case();
    void case_opened(const std::string& folder);
    void finish_what_was_cut_off();
    void forget_results();
    /// What the case holds, as it is now.
    void renew_kept();
    void results_stored(const std::string& folder, RowId visit);
    void show_kept(RowId visit);
    void show_kept(const gui::KeptTest& test);
    /// Hiss, injectors and balance of a visit.
    void show_surveys(const gui::KeptVisit& visit);

    // The spray test.
    void begin_visit();
    void feed_settle();
    [[nodiscard]] std::vector<SpraySpot> spray_spots() const;
    /// What the hiss survey makes of the spots.
    [[nodiscard]] std::map<std::string, double> spot_odds() const;
    void show_visit();
    void show_standing(const plan::PlanStep& step);
    void conclude();
    [[nodiscard]] bool correctable();
    [[nodiscard]] bool spray_under_way() const;
    void judge_recording(const std::string& path, std::vector<Mark> marks);
    void show_verdict(const VerdictView& verdict);
    void renew_spots();
    [[nodiscard]] std::vector<std::string> debrief_lines() const;

    // Takes with the probe, and of the idle as a whole.
    void begin_take(gui::TakeKind kind, const std::string& place, double needed_s, int pick_up_cylinder = 0);
    /// The probe's takes of a visit, the latest of each place: they may still be compared.
    void find_takes(RowId visit);
    void keep_take(bool injector, const std::string& place, RowId recording);
    void take_in_practice(const gui::ask::StartTake& c);
    Result<RowId> keep_simulated(const gui::ask::StartTake& c, const std::vector<float>& sound);
    /// The clicks of the takes, one after the other, to be seen before they are compared.
    void glance_at_next();
    /// A sound file of elsewhere goes into the case, then `then` is done with its recording.
    void take_in(RecordingKind kind, const std::string& path, std::function<void(RowId)> then);
    void judge_set(const char* what, const char* kind, std::vector<std::pair<RowId, std::string>> takes);

    static constexpr const char* kMeasuring = "measuring the recording";

    DeskOptions options_;
    gui::ViewState state_;  ///< the one under way; `publish` hands out copies
    bool changed_ = true;

    std::unique_ptr<SoundRun> run_;
    unsigned starts_ = 0;  ///< of sounds, and of leaving one: what was worked out for an earlier one is not shown
    std::optional<sim::SessionSpec> truth_;  ///< of the practice bay
    int practice_engine_ = 0;                ///< 0: none of the ten
    std::vector<sim::SessionBurst> practice_bursts_;
    std::vector<RpmReading> readings_;
    std::vector<HissBurst> hisses_;
    std::vector<gui::TracePoint> trace_;
    std::uint64_t gaps_told_ = 0, clipped_told_ = 0;
    double held_at_s_ = 0.0;
    std::string recording_path_;
    std::optional<DeskCase> case_;
    std::optional<RowId> recording_;  ///< the one that is running
    RecordingKind recording_kind_ = RecordingKind::bay;
    int pick_up_cylinder_ = 0;  ///< of the take that is running
    bool closing_ = false;
    bool heard_since_gate_ = false;  ///< another sound than the probe's ended since

    std::optional<GuidedVisit> guided_;
    bool together_ = false;      ///< neighbours may be misted in one pass
    bool spray_wanted_ = false;  ///< the user has started the spray test
    std::size_t marks_kept_ = 0;
    double quiet_from_s_ = 0.0;

    std::map<std::string, RowId> hiss_takes_;  ///< spot, recording of the case
    std::map<int, RowId> injector_takes_;

    Prompter prompter_;
    unsigned prompts_said_ = 0;

    Job job_;       ///< shown, can be cancelled
    Job thinking_;  ///< the evidence so far; not shown
    Job glance_;    ///< at the clicks of a take; not shown
    std::map<int, std::string> to_glance_;

    mutable std::mutex mutex_;
    std::condition_variable_any wake_;
    std::deque<gui::Command> commands_;
    std::shared_ptr<const gui::ViewState> shown_;
    std::jthread thread_;
};

}  // namespace idlehark
