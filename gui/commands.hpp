#pragma once

#include "gui/view_state.hpp"

#include <cstdint>
#include <string>
#include <variant>

namespace idlehark::gui {

/// What the window asks for. Plain values; whoever gets them may refuse, and says why in ViewState::fault.
namespace ask {

struct NewCase {
    std::string folder;
};
struct OpenCase {
    std::string folder;
};
/// Look at an earlier visit of the open case. Refused while sound is running.
struct ShowVisit {
    std::int64_t visit = 0;
};

struct ListDevices {};
struct StartLive {
    std::string device;
};  ///< empty: the one chosen last
struct StartReplay {
    std::string path, marks_path;
};
struct StartPractice {
    std::uint64_t seed = 1;
    double pace = 1.0;
    int engine = 0;  ///< of ViewState::practice_engines; 0: a bay drawn from the seed alone
};
/// No more sound, no more prompts; what was recorded is kept.
struct Stop {};

struct SetStage {
    Stage stage = Stage::describe;
};
struct SetEngine {
    Engine engine;
};
struct SetLog {
    std::vector<LogLine> lines;
};
struct SetMap {
    BayMap map;
};

struct AlternativesSeen {};
struct AnswerGate {
    GatePoint point = GatePoint::extinguisher;
    bool yes = false;
};
struct SetMatters {
    double rpm = 15.0;
};

/// Neighbours in one pass, or every spot alone. Before the first burst.
struct SetPasses {
    bool together = false;
};
struct StartSpray {};
struct Sprayed {};  ///< now, at the prompted spot
/// Practice only: the simulated can at this spot, asked for or not.
struct SprayHere {
    std::string spot;
};
struct SprayedElsewhere {
    std::string spot;
};  ///< the last burst went to another spot
struct RepeatSpot {};
struct SkipSpot {};
struct UndoBurst {};
struct SetPrompts {
    Prompts style = Prompts::off;
};
struct PauseSpray {
    bool pause = true;
};
struct FinishSpray {};

struct StartTake {
    bool injector = false;
    std::string place;
};  ///< cylinder number or spot
struct TakeFile {
    bool injector = false;
    std::string place, path;
};  ///< a recording made elsewhere
/// The idling engine as a whole, for the balance of its cylinders.
struct StartIdleTake {
    int pick_up_cylinder = 0;
};  ///< on this cylinder's lead, recorded on channel 2; 0: there is none
struct IdleFile {
    std::string path;
    int pick_up_cylinder = 0;
};
struct StopTake {};
struct JudgeHiss {};
struct JudgeInjectors {};

/// Two visits of the open case.
struct Compare {
    std::int64_t before = 0, after = 0;
    bool anyway = false;  ///< a cold idle against a warm one all the same
};
struct WriteReport {};
struct ShowScore {};

struct Tell {
    std::string what, hint;
};  ///< a fault of the window's own, shown like any other
struct CancelJob {};
struct CloseFault {
    std::uint64_t number = 0;
};

}  // namespace ask

using Command =
    std::variant<ask::NewCase, ask::OpenCase, ask::ShowVisit, ask::ListDevices, ask::StartLive, ask::StartReplay,
                 ask::StartPractice, ask::Stop, ask::SetStage, ask::SetEngine, ask::SetLog, ask::SetMap,
                 ask::AlternativesSeen, ask::AnswerGate, ask::SetMatters, ask::SetPasses, ask::StartSpray, ask::Sprayed,
                 ask::SprayHere, ask::SprayedElsewhere, ask::RepeatSpot, ask::SkipSpot, ask::UndoBurst, ask::SetPrompts,
                 ask::PauseSpray, ask::FinishSpray, ask::StartTake, ask::TakeFile, ask::StartIdleTake, ask::IdleFile,
                 ask::StopTake, ask::JudgeHiss, ask::JudgeInjectors, ask::Compare, ask::WriteReport, ask::ShowScore,
                 ask::Tell, ask::CancelJob, ask::CloseFault>;

}  // namespace idlehark::gui
