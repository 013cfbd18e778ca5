#include "src/analysis/visit.hpp"

#include "dsp/balance/balance.hpp"
#include "dsp/statistics.hpp"
#include "src/analysis/between_gaps.hpp"
#include "src/analysis/marks_once.hpp"
#include "src/analysis/match_hiss.hpp"
#include "src/files/json_text.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/recorder.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kShortestQuiet_s = 15.0;
constexpr double kLongestQuiet_s = 120.0;
constexpr double kBlock_s = 10.0;  // half orders are judged in blocks, whose scatter is their spread

/// Hears half orders and hiss of the first `until_s` of a recording.
class QuietEars {
   public:
    QuietEars(const Engine& engine, double sample_rate_hz, double until_s)
        : engine_(engine),
          rate_hz_(sample_rate_hz),
          left_(static_cast<std::size_t>(until_s * sample_rate_hz)),
          block_frames_(static_cast<std::size_t>(kBlock_s * sample_rate_hz)),
          until_s_(until_s),
          hiss_(engine, sample_rate_hz) {}

    void process(AudioView x) {
        x = x.first(std::min(x.size(), left_));
        left_ -= x.size();
        hiss_.process(x);
        while (!x.empty()) {
            if (in_block_ == block_frames_ || blocks_.empty()) {
                blocks_.emplace_back(engine_, rate_hz_);
                in_block_ = 0;
            }
            const auto part = x.first(std::min(x.size(), block_frames_ - in_block_));
            blocks_.back().process(part);
            in_block_ += part.size();
            x = x.subspan(part.size());
        }
    }

    void finish(std::span<const RpmReading> readings, HeardVisit& visit) {
        std::vector<RpmReading> quiet;
        for (const auto& r : readings)
            if (r.time_s < until_s_) quiet.push_back(r);
        visit.hiss = hiss_.finish(quiet);
        std::vector<double> logs;
        for (std::size_t b = 0; b < blocks_.size(); ++b) {
            if (b + 1 == blocks_.size() && in_block_ < block_frames_) break;
            std::vector<RpmReading> own;
            const double from_s = kBlock_s * static_cast<double>(b);
            for (auto r : quiet)
                if (r.time_s >= from_s && r.time_s < from_s + kBlock_s) {
                    r.time_s -= from_s;
                    own.push_back(r);
                }
            const double share = blocks_[b].judge(own).half_order_share;
            if (share > 0.0) logs.push_back(std::log(share));
        }
        if (logs.empty()) return;
        const auto n = static_cast<double>(logs.size());
        // Two blocks or three tell their own scatter poorly: that of an ordinary idle counts as three more.
        constexpr double kOrdinary_ln = 0.12, kOrdinaryCounts = 3.0;
        double square = kOrdinaryCounts * kOrdinary_ln * kOrdinary_ln;
        const double mean = stats::mean(logs);
        for (const double l : logs) square += (l - mean) * (l - mean);
        visit.half_orders = {std::exp(mean), std::sqrt(square / (n - 1.0 + kOrdinaryCounts) / n)};
    }

   private:
    Engine engine_;
    double rate_hz_;
    std::size_t left_, block_frames_;
    double until_s_;
    std::size_t in_block_ = 0;
    HissEar hiss_;
    std::vector<BalanceEar> blocks_;
};

/// Places do not matter here: they only tell a leak from its neighbour's spray.
std::vector<std::string> answering_spots(const HeardVisit& visit) {
    std::vector<SpraySpot> spots;
    auto bursts = visit.bursts;
    for (std::size_t i = 0; i < bursts.size(); ++i) {
        const auto& id = visit.burst_spots[i];
        auto at = std::find_if(spots.begin(), spots.end(), [&](const SpraySpot& s) { return s.id == id; });
        if (at == spots.end()) at = spots.insert(at, {.id = id, .place = {}});
        bursts[i].spot = static_cast<std::size_t>(at - spots.begin());
    }
    std::vector<std::string> answering;
    if (spots.empty()) return answering;
    const auto result =
        evaluate_spray(visit.readings, bursts, spots, {.idle_control = visit.request.listen.engine.idle_control});
    for (std::size_t s = 0; s < spots.size(); ++s)
        if (answers(result.spots[s].verdict)) answering.push_back(spots[s].id);
    return answering;
}

std::string device_of(const std::string& sound) {
    const auto path = RecordingNames{sound}.settings;
    if (!is_plain_file(path)) return {};
    const auto settings = read_json_object(path);
    if (!settings) return {};
    const auto at = settings.value().find("device");
    return at != settings.value().end() && at->is_string() ? at->get<std::string>() : std::string{};
}

}  // namespace

std::variant<HeardVisit, VisitFailure> hear_visit(const VisitRequest& request, const ListenSinks& sinks) {
    HeardVisit visit;
    visit.request = request;
    double first_s = kLongestQuiet_s;
    for (const auto& m : request.marks) first_s = std::min(first_s, m.time_s - 1.0);
    const double quiet_s = first_s >= kShortestQuiet_s ? first_s : kLongestQuiet_s;

    std::vector<GapHissFinder> finders;  // one a part
    std::optional<QuietEars> ears;
    ListenSinks own = sinks;
    own.start = [&](double rate_hz) {
        finders.emplace_back(rate_hz);
        if (!ears) ears.emplace(request.listen.engine, rate_hz, quiet_s);
    };
    own.sound = [&](AudioView x) {
        finders.back().process(x);
        if (finders.size() == 1) ears->process(x);
    };
    own.gap = [&] { finders.back().gap(); };
    own.readings = [&](std::span<const RpmReading> r) {
        visit.readings.insert(visit.readings.end(), r.begin(), r.end());
    };
    auto heard = listen_through(request.listen, own);
    if (!heard) return VisitFailure{heard.error()};
    visit.heard = std::move(heard.value());
    if (const auto reason = why_no_lock(visit.heard, request.listen)) return VisitFailure{*reason, true};

    const auto marks = marks_once(request.marks, request.listen.path, visit.heard.warnings);
    std::vector<double> times_s;
    for (std::size_t k = 0; k < finders.size(); ++k) {
        const auto& part = visit.heard.parts[k];
        const double until_s =
            k + 1 < finders.size() ? visit.heard.parts[k + 1].offset_s : std::numeric_limits<double>::infinity();
        std::vector<double> here_s;
        for (const auto& m : marks) {
            const double time_s = m.time_s - part.offset_s;
            if ((k > 0 && time_s < 0.0) || m.time_s >= until_s) continue;
            if (time_s >= part.length_s) {
                if (!part.breaks_off)
                    return VisitFailure{
                        {fmt::format("{}: a mark at {:g} s is after the end of the recording ({:.1f} s)",
                                     request.listen.path, m.time_s, visit.heard.length_s),
                         "Do these marks belong to this recording? Times count from its start."}};
                continue;
            }
            here_s.push_back(time_s);
            visit.burst_spots.push_back(m.spot);
        }
        finders[k].finish();
        const auto onsets = match_hiss(here_s, finders[k].bursts());
        for (std::size_t i = 0; i < here_s.size(); ++i) {
            times_s.push_back(here_s[i] + part.offset_s);
            SprayBurst burst{.time_s = times_s.back(), .spot = 0, .found_onset_s = {}, .found_duration_s = {}};
            if (onsets[i]) {
                burst.found_onset_s = onsets[i]->time_s + part.offset_s;
                burst.found_duration_s = onsets[i]->duration_s;
            }
            visit.bursts.push_back(burst);
        }
    }
    visit.idle = measure_idle(visit.readings, times_s);
    visit.answering = answering_spots(visit);
    ears->finish(visit.readings, visit);
    visit.device = request.device.empty() ? device_of(request.listen.path) : request.device;

    if (!request.injectors.empty()) {
        InjectorRequest set;
        set.engine = request.listen.engine;
        set.channel = request.listen.channel;
        set.recordings = request.injectors;
        auto outcome = judge_injectors(set, [](std::size_t) {});
        if (const auto* failure = std::get_if<InjectorFailure>(&outcome))
            return VisitFailure{failure->error, failure->sound_is_why};
        visit.injectors = std::move(std::get<InjectorView>(outcome));
    }
    return visit;
}

}  // namespace idlehark
