#pragma once

#include "dsp/engine.hpp"
#include "dsp/injectors/probe_recording.hpp"

#include <cmath>
#include <span>
#include <vector>

namespace idlehark {

enum class InjectorVerdict { regular, missing_clicks, silent, differs };

/// Why a verdict is not "regular"; more than one may hold.
struct InjectorReasons {
    bool weaker = false;
    bool louder = false;
    bool spacing = false;          ///< opening to closing unlike the set's
    bool jitter = false;           ///< much more than the set's
    bool twice_the_rate = false;   ///< of the others
    bool neighbours_only = false;  ///< what is heard there are the others' clicks, or the engine's own ticks
};

struct InjectorReading {
    int cylinder = 0;
    double rpm = std::nan("");
    double rate_hz = 0.0;               ///< heard clicks (pairs) per second; 0 when silent
    double expected_hz = std::nan("");  ///< by the stated scheme at this recording's speed
    int due = 0;
    int missed = 0;
    double missed_percent = std::nan("");
    double missed_low_percent = std::nan("");  ///< 95 % interval (Wilson)
    double missed_high_percent = std::nan("");
    double jitter_us = std::nan("");
    double jitter_deg = std::nan("");  ///< crank degrees
    double open_close_ms = std::nan("");
    double level_db = std::nan("");  ///< against the median of the set's sound ones, the recording's gain taken out
    InjectorVerdict verdict = InjectorVerdict::silent;
    InjectorReasons reasons;
};

struct InjectorSet {
    double rpm = std::nan("");
    std::vector<InjectorReading> injectors;  ///< in the order given
    bool each_turn = false;                  ///< what most of those that click do: once per crank turn, not per cycle
    bool scheme_disagrees = false;           ///< and the stated scheme has it otherwise
    bool no_part = false;                    ///< nothing heard is like an injector's clicks: no verdict holds
    bool openings_split = false;             ///< two opening times with as many for each: which is right is not told
};

struct ProbedInjector {
    int cylinder = 0;
    ProbeRecording recording;
};

/// Compares the recordings of one engine's injectors and gives each a verdict.
/// Input    one recording an injector, at least one; with only one, level and spacing have nothing to be compared with.
/// Output   levels are compared in the bands where the set's clicks are, so that ticks of another colour do not count,
///          less what the recording's gain does, as far as the others' clicks follow what sounds between them.
///          The set's sound ones are those near the loudest, so one to three odd ones in four do not move it.
///          Missed clicks are counted at the rate the set really has; `expected_hz` states what the file says.
/// Accuracy tests/bench/injectors_bench.cpp.
/// Errors   std::invalid_argument without recordings or for an engine that cannot exist.
[[nodiscard]] InjectorSet compare_injectors(std::span<const ProbedInjector> set, const Engine& engine);

}  // namespace idlehark
