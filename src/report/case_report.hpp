#pragma once

#include "dsp/engine.hpp"
#include "src/files/map_file.hpp"
#include "src/report/compare_view.hpp"
#include "src/report/photo.hpp"
#include "src/report/verdict_view.hpp"
#include "src/visit/spray_visit.hpp"

#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// A line of the elimination log: what was ruled out, or not, by other means.
struct ReportCheck {
    enum class State { ok, faulty, not_done };
    std::string name, limits, reading, note;
    State state = State::not_done;
};

/// Rows of one of the other tests of a visit, as they are shown. NaN where there is no number.
struct ReportInjector {
    int cylinder = 0;
    double rate_hz = std::nan(""), expected_hz = std::nan("");
    double missed_percent = std::nan(""), missed_low = std::nan(""), missed_high = std::nan("");
    double jitter_us = std::nan(""), open_close_ms = std::nan(""), level_db = std::nan("");
    std::string verdict, reasons;
};
struct ReportFiring {
    std::string name;               ///< cylinder number, or a letter
    std::vector<int> at_tail_pipe;  ///< cylinders it may be instead, heard there
    double strength = std::nan(""), strength_low = std::nan(""), strength_high = std::nan("");
    double misfire_percent = std::nan(""), misfire_low = std::nan(""), misfire_high = std::nan("");
    std::string verdict;
};
struct ReportHiss {
    std::string spot;
    double level_db = std::nan(""), level_low_db = std::nan(""), level_high_db = std::nan(""), follow_db = std::nan("");
    std::string verdict;
};

/// A point of caution as it was answered last in a visit.
struct ReportAnswer {
    std::string question, answer, at;
};

/// A picture kept in the case.
struct ReportPhoto {
    std::string title, file;
    std::optional<Photo> photo;  ///< nothing: it cannot be shown
};

/// One day at the car.
struct ReportVisit {
    std::int64_t id = 0;
    std::string date, title, warmth, device, gain, note;
    std::vector<std::string> recordings;  ///< a line each: file, kind, length
    double idle_rpm = std::nan("");       ///< median
    std::vector<ReportAnswer> answers;    ///< of the caution gate
    std::optional<VisitRecord> guided;    ///< the guided test: its bursts, what was skipped, how it ended
    std::vector<VerdictView> sprays;      ///< one per recording with marks
    std::vector<ReportInjector> injectors;
    std::vector<ReportFiring> firings;
    bool firings_named = false;
    double half_order_share = std::nan("");
    std::vector<ReportHiss> hiss;
    std::vector<std::string> remarks;  ///< cautions and notes of the tests other than the spray tests
    std::vector<std::string> failed;   ///< tests that found no answer, and why
    std::vector<ReportPhoto> photos;
};

/// Everything that a report shows; plain values, so that it can be made and tested without a case.
struct CaseReport {
    std::string car, made_at, program;
    Engine engine;
    std::optional<BayMap> map;
    std::optional<Photo> map_photo;   ///< what the map lies on
    std::vector<ReportPhoto> photos;  ///< of no visit
    std::vector<ReportCheck> log;
    std::vector<ReportVisit> visits;  ///< in order of time
    std::optional<CompareView> compare;
    std::string why_no_compare;  ///< if two visits could not be compared
    std::vector<std::string> notes;
};

/// What to look at next, the likeliest first, and why.
struct NextStep {
    std::string what, why;
};
/// From the log and the last word of the visits on each spot, injector and cylinder: faults of the log, proven leaks
/// not mended since, injectors, cylinders, spots that hiss, what is undecided (by how large a change it may hide), what
/// receives a leak's spray, checks not done. Never empty.
[[nodiscard]] std::vector<NextStep> next_steps(const CaseReport& report);

/// What was tested and not decided, a line each.
[[nodiscard]] std::vector<std::string> undecided(const CaseReport& report);

/// One self-contained page: no script, nothing fetched, every text escaped, figures as drawings inside it; prints on A4
/// and Letter.
[[nodiscard]] std::string report_html(const CaseReport& report);
/// The same facts for programs.
[[nodiscard]] std::string report_json(const CaseReport& report);
/// One fact a row: visit,test,subject,quantity,value,low,high,unit,verdict.
[[nodiscard]] std::string report_csv(const CaseReport& report);

}  // namespace idlehark
