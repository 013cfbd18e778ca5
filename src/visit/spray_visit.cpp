#include "src/visit/spray_visit.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

constexpr double kRemembered_s = 60.0;
constexpr double kMean_s = 4.0;  // stretch whose mean is compared with the baseline
constexpr double kLeastTolerance_rpm = 3.0;
constexpr double kTolerance_sd = 2.5;
constexpr double kPassed_s = 3.0;  // hands still follow a prompt so long after it was withdrawn
constexpr double kFollows = 0.3;   // of a new mean in the baseline
constexpr double kTwice_s = 5.0;   // a second hiss this soon: the trigger was pressed twice
constexpr double kEarly_s = 0.5;   // spray begins no earlier than this before the prompt

std::string spots_text(const std::vector<std::string>& spots) {
    if (spots.size() == 1) return "spot " + spots.front();
    return fmt::format("spots {} and {}", fmt::join(spots.begin(), spots.end() - 1, ", "), spots.back());
}

bool has(const std::vector<std::string>& list, const std::string& text) {
    return std::find(list.begin(), list.end(), text) != list.end();
}

void check(const VisitConfig& c) {
    if (c.spots.empty()) throw std::invalid_argument("spots: none");
    const auto at_least = [](const char* name, double value, double least) {
        if (!(value >= least && value <= 3600.0))
            throw std::invalid_argument(fmt::format("{}: {} is not in {}..3600", name, value, least));
    };
    at_least("settle_s", c.settle_s, 15.0);
    at_least("answer_s", c.answer_s, 3.0);
    at_least("spacing_s", c.spacing_s, c.answer_s);
    at_least("drying_s", c.drying_s, c.spacing_s);
    at_least("longest_recovery_s", c.longest_recovery_s, c.spacing_s);
    at_least("lost_s", c.lost_s, 0.5);
    at_least("after_gap_s", c.after_gap_s, 0.0);
    at_least("patience_s", c.patience_s, 15.0);
    at_least("most_per_spot", c.most_per_spot, 1.0);
    at_least("most_per_visit", c.most_per_visit, 1.0);
}

}  // namespace

const char* word(VisitStage stage) noexcept {
    switch (stage) {
        case VisitStage::gate:
            return "cautions";
        case VisitStage::settling:
            return "settling";
        case VisitStage::planning:
            return "planning";
        case VisitStage::waiting:
            return "waiting";
        case VisitStage::prompting:
            return "spray now";
        case VisitStage::answering:
            return "listening";
        case VisitStage::done:
            return "done";
        case VisitStage::stopped:
            return "stopped";
    }
    return "";
}

const char* word(VisitWait wait) noexcept {
    switch (wait) {
        case VisitWait::by_hand:
            return "paused by you";
        case VisitWait::lock_lost:
            return "the idle speed is not heard";
        case VisitWait::signal_gap:
            return "sound was lost; listening again";
        case VisitWait::not_at_baseline:
            return "the idle is not yet back where it was";
        case VisitWait::spacing:
            return "the last burst is too recent";
        case VisitWait::drying:
            return "the spot must dry";
    }
    return "";
}

int sprayed_bursts(const VisitRecord& record) noexcept {
    return static_cast<int>(
        std::count_if(record.bursts.begin(), record.bursts.end(), [](const VisitBurst& b) { return b.counts(); }));
}

bool left_out(const VisitRecord& record, const std::string& spot) {
    constexpr int kSkipsToLeaveOut = 2;
    return std::count_if(record.skipped.begin(), record.skipped.end(),
                         [&](const VisitSkip& s) { return has(s.spots, spot); }) >= kSkipsToLeaveOut;
}

SprayVisit::SprayVisit(VisitConfig config) : config_(std::move(config)) { check(config_); }

SprayVisit::SprayVisit(VisitConfig config, VisitRecord record)
    : config_(std::move(config)), record_(std::move(record)) {
    check(config_);
    for (const auto& b : record_.bursts)
        if (!b.undone) last_burst_s_ = std::max(last_burst_s_, b.time_s);
    record_.ended.clear();
}

void SprayVisit::begin_recording(const std::string& name, double offset_s) {
    record_.recordings.push_back({name, offset_s});
    if (record_.recordings.size() > 1) gap(offset_s);
    time(offset_s);
}

void SprayVisit::time(double now_s) {
    if (!(now_s > record_.clock_s)) return;
    record_.clock_s = now_s;
    advance();
}

void SprayVisit::answer(std::size_t caution_point, bool yes) {
    if (caution_point >= kCautionPoints || stage_ == VisitStage::stopped) return;
    gate_.answer(caution_point, yes);
    record_.cautions.push_back({std::string{caution_points()[caution_point].key}, yes, record_.clock_s});
    notice_.clear();
    if (gate_.open() && stage_ == VisitStage::gate) stage_ = VisitStage::settling;
    advance();
}

void SprayVisit::reading(double time_s, double rpm, bool locked) {
    if (locked && std::isfinite(rpm)) {
        if (time_s - last_locked_s_ > config_.lost_s || !std::isfinite(steady_from_s_)) steady_from_s_ = time_s;
        last_locked_s_ = std::max(last_locked_s_, time_s);
        recent_.push_back({time_s, rpm});
        while (recent_.front().time_s < time_s - kRemembered_s) recent_.pop_front();
    }
    if (time_s > record_.clock_s) record_.clock_s = time_s;
    advance();
}

void SprayVisit::gap(double time_s) {
    last_gap_s_ = std::max(last_gap_s_, time_s);
    steady_from_s_ = std::numeric_limits<double>::infinity();
    recent_.clear();
    for (auto& b : record_.bursts)
        if (!b.undone && time_s >= b.time_s && time_s < b.time_s + config_.answer_s) b.near_gap = true;
    advance();
}

void SprayVisit::hiss(double onset_s, double duration_s) {
    notice_.clear();
    for (auto& b : record_.bursts)
        if (b.counts() && !b.found_onset_s && std::abs(b.time_s - onset_s) <= config_.key_reach_s) {
            found(b, onset_s, duration_s);
            return;
        }
    auto* last = last_burst();
    if (last && last->by_key && last->counts() && !last->found_onset_s && onset_s >= last_prompt_s_ - kEarly_s &&
        onset_s <= last->time_s + kTwice_s) {
        found(*last, onset_s, duration_s);  // the key was pressed well before the can, or well after
        return;
    }
    if (follows_prompt(onset_s)) {
        const auto spots = plan_->spots;
        const bool sham = plan_->sham;
        burst(spots, onset_s, false, !sham, false);
        if (sham) notice_ = "That was meant to be without spray; it counts as a burst.";
    } else if (last && last->sham && onset_s >= last->time_s - config_.sham_after_s - kEarly_s &&
               onset_s <= last->time_s + config_.answer_s) {
        const auto spots = last->spots;
        last->undone = true;
        burst(spots, onset_s, false, false, false);
        notice_ = "That was meant to be without spray; it counts as a burst.";
    } else if (last && onset_s > last->time_s && onset_s <= last->time_s + kTwice_s) {
        const auto spots = last->spots;
        burst(spots, onset_s, false, false, false);
        notice_ = "Two bursts were heard; both count. One is enough.";
    } else {
        stray_hiss_ = {onset_s, duration_s};
        notice_ = fmt::format(
            "A can hissed at {:.0f} s, unasked. If that was a burst, say where (wrong spot); if not, do nothing.",
            onset_s);
        last_burst_s_ = std::max(last_burst_s_, onset_s);
        advance();
        return;
    }
    record_.bursts.back().found_onset_s = onset_s;
    record_.bursts.back().found_duration_s = duration_s;
}

void SprayVisit::found(VisitBurst& burst, double onset_s, double duration_s) {
    burst.found_onset_s = onset_s;
    burst.found_duration_s = duration_s;
    ++revision_;
    if (stage_ != VisitStage::waiting) return;
    give_plan_back();  // it rests on the key's time
    plan_anew();
}

void SprayVisit::key(double time_s, const std::string& spot) {
    notice_.clear();
    if (stage_ == VisitStage::stopped) return;
    // A prompt for a sham that is gone asks for nothing.
    const bool prompted = follows_prompt(time_s) && (stage_ == VisitStage::prompting || !plan_->sham);
    if (spot.empty() && !prompted) {
        notice_ = "No spot is asked for now. Name the spot to mark a burst there.";
        return;
    }
    if (!spot.empty() && !has(config_.spots, spot)) {
        notice_ = fmt::format("Spot {} is not on the map.", spot);
        return;
    }
    const bool as_asked = prompted && (spot.empty() || plan_->spots == std::vector{spot});
    const auto spots = as_asked ? plan_->spots : std::vector{spot};
    burst(spots, time_s, true, as_asked, as_asked && plan_->sham);
}

void SprayVisit::repeat() {
    notice_.clear();
    if (stage_ == VisitStage::prompting) {
        say(spoken_);
        return;
    }
    const auto* last = last_burst();
    if (!last || (stage_ != VisitStage::planning && stage_ != VisitStage::waiting && stage_ != VisitStage::answering)) {
        notice_ = "There is nothing to repeat now.";
        return;
    }
    for (const auto& spot : last->spots)
        if (const auto no = forbidden(spot)) {
            notice_ = *no;
            return;
        }
    again_ = last->spots;
    if (stage_ == VisitStage::waiting)
        next_step(once_more(std::move(*plan_)));
    else
        notice_ = fmt::format("Next comes {} once more.", spots_text(again_));
}

void SprayVisit::skip() {
    notice_.clear();
    if (!plan_ || (stage_ != VisitStage::prompting && stage_ != VisitStage::waiting)) {
        notice_ = "There is nothing to skip now.";
        return;
    }
    record_.skipped.push_back({plan_->spots, record_.bursts.size()});
    ++revision_;
    plan_anew();
}

void SprayVisit::wrong_spot(const std::string& spot) {
    notice_.clear();
    if (!has(config_.spots, spot)) {
        notice_ = fmt::format("Spot {} is not on the map.", spot);
        return;
    }
    auto* last = last_burst();
    if (stray_hiss_) {
        const auto [onset_s, duration_s] = *std::exchange(stray_hiss_, {});
        burst({spot}, onset_s, false, false, false);
        record_.bursts.back().found_onset_s = onset_s;
        record_.bursts.back().found_duration_s = duration_s;
    } else if (last && !last->sham) {
        give_plan_back();
        no_longer_decided(last->spots);
        last->spots = {spot};
        last->asked = false;
        ++revision_;
    } else {
        notice_ = "There is no burst to correct.";
        return;
    }
    no_longer_decided({spot});
    again_.clear();
    notice_ = fmt::format("The last burst counts for spot {}.", spot);
    if (stage_ == VisitStage::waiting || stage_ == VisitStage::done) plan_anew();  // it rests on the wrong spot
    advance();
}

void SprayVisit::undo() {
    notice_.clear();
    auto* last = last_burst();
    if (!last) {
        notice_ = "There is no burst to undo.";
        return;
    }
    last->undone = true;
    ++revision_;
    again_.clear();
    stray_hiss_.reset();
    give_plan_back();
    no_longer_decided(last->spots);
    notice_ = fmt::format("The burst on {} at {:.0f} s no longer counts; the recording keeps it.",
                          spots_text(last->spots), last->time_s);
    if (stage_ == VisitStage::answering || stage_ == VisitStage::waiting || stage_ == VisitStage::done) {
        plan_anew();
        stage_ = VisitStage::answering;
        advance();
    }
}

void SprayVisit::pause(bool on) {
    if (paused_ == on) return;
    paused_ = on;
    notice_.clear();
    advance();
}

void SprayVisit::stop(std::string why) {
    if (stage_ == VisitStage::stopped) return;
    withdraw();
    if (stage_ == VisitStage::done)
        stage_ = VisitStage::stopped;  // what it came to stands
    else
        end(VisitStage::stopped, std::move(why));
}

bool SprayVisit::take(const VisitPlan& plan) {
    if (stage_ != VisitStage::planning) return false;
    notice_.clear();
    decided_before_ = std::exchange(record_.decided, plan.decided);
    record_.smallest_provable_rpm = plan.smallest_provable_rpm;
    if (plan.outcome != VisitPlan::Outcome::step) {
        plan_ = plan;
        prompted_.clear();
        again_.clear();
        end(VisitStage::done, plan.why);
        return true;
    }
    if (plan.spots.empty()) {
        notice_ = "The plan names no spot.";
        return false;
    }
    auto step = once_more(plan);
    for (const auto& spot : step.spots)
        if (const auto no = forbidden(spot)) {
            notice_ = *no;
            return false;
        }
    next_step(std::move(step));
    return true;
}

std::optional<std::string> SprayVisit::forbidden(const std::string& spot) const {
    if (!has(config_.spots, spot)) return fmt::format("Spot {} is not on the map.", spot);
    if (has(record_.decided, spot)) return fmt::format("Spot {} is decided; it is not sprayed again.", spot);
    if (left_out(spot)) return fmt::format("Spot {} was skipped twice and is left out.", spot);
    if (bursts_on(spot) >= config_.most_per_spot)
        return fmt::format("Spot {} has had {} bursts, the most that one spot gets.", spot, config_.most_per_spot);
    if (sprayed_bursts(record_) >= config_.most_per_visit)
        return fmt::format("{} bursts are the most of one visit.", config_.most_per_visit);
    return {};
}

int SprayVisit::bursts_on(const std::string& spot) const {
    return static_cast<int>(std::count_if(record_.bursts.begin(), record_.bursts.end(),
                                          [&](const VisitBurst& b) { return b.counts() && has(b.spots, spot); }));
}

bool SprayVisit::left_out(const std::string& spot) const { return idlehark::left_out(record_, spot); }

VisitBurst* SprayVisit::last_burst() {
    const auto it =
        std::find_if(record_.bursts.rbegin(), record_.bursts.rend(), [](const VisitBurst& b) { return !b.undone; });
    return it == record_.bursts.rend() ? nullptr : &*it;
}

void SprayVisit::burst(std::vector<std::string> spots, double time_s, bool by_key, bool asked, bool sham) {
    VisitBurst b;
    b.spots = std::move(spots);
    b.sham = sham;
    b.time_s = time_s;
    b.by_key = by_key;
    b.asked = asked;
    b.near_gap = last_gap_s_ >= time_s && last_gap_s_ < time_s + config_.answer_s;
    record_.bursts.push_back(std::move(b));
    ++revision_;
    again_.clear();
    stray_hiss_.reset();
    last_burst_s_ = std::max(last_burst_s_, time_s);
    last_prompt_s_ = time_s;
    for (const auto& p : prompted_)
        if (asked && p.from_s <= time_s) last_prompt_s_ = p.from_s;
    if (stage_ == VisitStage::gate || stage_ == VisitStage::settling || stage_ == VisitStage::stopped) return;
    if (!asked) withdraw();  // what was asked for is not to follow
    plan_anew();
    stage_ = VisitStage::answering;
    advance();
}

void SprayVisit::plan_anew() {
    plan_.reset();
    prompted_.clear();
    record_.ended.clear();
    stage_ = VisitStage::planning;
}

void SprayVisit::give_plan_back() {
    if (stage_ == VisitStage::waiting || stage_ == VisitStage::done) record_.decided = decided_before_;
}

void SprayVisit::no_longer_decided(const std::vector<std::string>& spots) {
    std::erase_if(record_.decided, [&](const auto& s) { return has(spots, s); });
}

void SprayVisit::end(VisitStage stage, std::string why) {
    stage_ = stage;
    record_.ended = std::move(why);
    say(stage == VisitStage::done ? "Done." : "Stopped.");
}

void SprayVisit::say(std::string text) {
    ++prompts_;
    spoken_ = std::move(text);
}

void SprayVisit::withdraw() {
    if (stage_ != VisitStage::prompting) return;
    say("Wait. Do not spray.");
    prompted_.back().to_s = record_.clock_s + kPassed_s;
    stage_ = VisitStage::waiting;
}

bool SprayVisit::follows_prompt(double time_s) const {
    return plan_ && std::any_of(prompted_.begin(), prompted_.end(),
                                [&](const Prompted& p) { return time_s >= p.from_s - kEarly_s && time_s <= p.to_s; });
}

VisitPlan SprayVisit::once_more(VisitPlan step) {
    const auto spots = std::exchange(again_, {});
    for (const auto& spot : spots)
        if (const auto no = forbidden(spot)) {
            notice_ = *no;
            return step;
        }
    if (spots.empty()) return step;
    step.spots = spots;
    step.sham = false;
    step.why = "You asked for it once more.";
    step.would_change.clear();
    return step;
}

void SprayVisit::next_step(VisitPlan plan) {
    plan_ = std::move(plan);
    prompted_.clear();
    stage_ = VisitStage::waiting;
    advance();
}

void SprayVisit::prompt() {
    said_s_ = record_.clock_s;
    if (stage_ != VisitStage::prompting) prompted_.push_back({.from_s = said_s_});
    stage_ = VisitStage::prompting;
    auto where = spots_text(plan_->spots);
    where.front() = 'S';
    say(where + (plan_->sham ? ". Aim only, do not spray." : plan_->spots.size() > 1 ? ", one pass. Now." : ". Now."));
}

bool SprayVisit::locked() const noexcept { return record_.clock_s - last_locked_s_ <= config_.lost_s; }

std::optional<double> SprayVisit::mean_rpm(double from_s, double to_s) const {
    double sum = 0.0;
    int n = 0;
    for (const auto& r : recent_)
        if (r.time_s > from_s && r.time_s <= to_s) {
            sum += r.rpm;
            ++n;
        }
    if (n == 0) return {};
    return sum / n;
}

double SprayVisit::tolerance_rpm() const { return std::max(kLeastTolerance_rpm, kTolerance_sd * unrest_rpm_); }

bool SprayVisit::back_at_baseline() const {
    if (recent_.empty()) return false;
    const double to_s = recent_.back().time_s;
    const auto now = mean_rpm(to_s - kMean_s, to_s);
    const double tolerance = tolerance_rpm();
    if (now && std::abs(*now - baseline_rpm_) <= tolerance) return true;
    // A fan or the idle valve may hold it elsewhere: steady is enough, once the answer must be over.
    const auto before = mean_rpm(to_s - 2.0 * kMean_s, to_s - kMean_s);
    return to_s - last_burst_s_ >= config_.longest_recovery_s && now && before && std::abs(*now - *before) <= tolerance;
}

double SprayVisit::wait_s() const {
    double until_s = last_burst_s_ + config_.spacing_s;
    if (plan_)
        for (const auto& b : record_.bursts)
            if (b.counts() &&
                std::any_of(plan_->spots.begin(), plan_->spots.end(), [&](const auto& s) { return has(b.spots, s); }))
                until_s = std::max(until_s, b.time_s + config_.drying_s);
    return std::max(0.0, until_s - record_.clock_s);
}

std::vector<VisitWait> SprayVisit::waits() const {
    std::vector<VisitWait> all;
    if (stage_ != VisitStage::waiting && stage_ != VisitStage::settling && stage_ != VisitStage::prompting) return all;
    if (paused_) all.push_back(VisitWait::by_hand);
    if (!locked())
        all.push_back(VisitWait::lock_lost);
    else if (last_locked_s_ - std::max(steady_from_s_, last_gap_s_) < config_.after_gap_s)
        all.push_back(VisitWait::signal_gap);
    if (stage_ == VisitStage::settling) return all;
    if (last_burst_s_ + config_.spacing_s > record_.clock_s)
        all.push_back(VisitWait::spacing);
    else if (wait_s() > 0.0)
        all.push_back(VisitWait::drying);
    if (stage_ == VisitStage::waiting && all.empty() && !back_at_baseline()) all.push_back(VisitWait::not_at_baseline);
    return all;
}

void SprayVisit::settle_or_go_on() {
    const double since_s = std::max({steady_from_s_, last_gap_s_, last_burst_s_ + config_.answer_s});
    if (!locked() || !(last_locked_s_ - since_s >= config_.settle_s)) return;
    std::vector<double> means;
    for (double t = last_locked_s_; t - kMean_s >= last_locked_s_ - config_.settle_s; t -= 0.5 * kMean_s)
        if (const auto m = mean_rpm(t - kMean_s, t)) means.push_back(*m);
    baseline_rpm_ = mean_rpm(last_locked_s_ - config_.settle_s, last_locked_s_).value_or(recent_.back().rpm);
    double square = 0.0;
    for (const double m : means) square += (m - baseline_rpm_) * (m - baseline_rpm_);
    unrest_rpm_ = std::sqrt(square / static_cast<double>(std::max<std::size_t>(1, means.size())));
    stage_ = VisitStage::planning;
}

void SprayVisit::advance() {
    const bool over = stage_ == VisitStage::done || stage_ == VisitStage::stopped;
    if (!gate_.open() && !over) {  // also when a burst or its undoing took the test up again
        withdraw();
        stage_ = VisitStage::gate;
    }
    if (plan_ && (stage_ == VisitStage::waiting || stage_ == VisitStage::prompting))
        for (const auto& spot : plan_->spots)
            if (const auto no = forbidden(spot)) {  // since it was planned: a burst was said to have gone there
                withdraw();
                plan_anew();
                notice_ = *no;
                return;
            }
    switch (stage_) {
        case VisitStage::settling:
            settle_or_go_on();
            return;
        case VisitStage::answering:
            if (record_.clock_s - last_burst_s_ >= config_.answer_s) stage_ = VisitStage::planning;
            return;
        case VisitStage::waiting:
            if (!waits().empty()) return;
            // The baseline follows what is slow: warming up, a load that came to stay.
            if (const auto now = mean_rpm(last_locked_s_ - kMean_s, last_locked_s_))
                baseline_rpm_ +=
                    (std::abs(*now - baseline_rpm_) > tolerance_rpm() ? 1.0 : kFollows) * (*now - baseline_rpm_);
            prompt();
            return;
        case VisitStage::prompting:
            if (!waits().empty())
                withdraw();
            else if (plan_->sham && record_.clock_s - said_s_ >= config_.sham_after_s)
                burst(std::vector(plan_->spots), record_.clock_s, false, true, true);
            else if (record_.clock_s - said_s_ >= config_.patience_s) {
                prompt();
                notice_ = "No spray was heard. If you sprayed, press the key; if the spot is out of reach, skip it.";
            }
            return;
        case VisitStage::gate:
        case VisitStage::planning:
        case VisitStage::done:
        case VisitStage::stopped:
            return;
    }
}

std::string SprayVisit::sentence() const {
    switch (stage_) {
        case VisitStage::gate: {
            const auto at = gate_.pending();
            if (!at) return "";
            const auto& point = caution_points()[*at];
            return std::string{gate_.answered(*at) ? point.if_no : point.question};
        }
        case VisitStage::settling:
            return locked() ? "Let the engine idle and touch nothing: its own unrest is being measured."
                            : "The idle speed is not heard: hold the microphone nearer to the engine.";
        case VisitStage::planning:
            return "Wait: working out where the next burst tells most.";
        case VisitStage::waiting: {
            const auto why = waits();
            const auto where = plan_ ? spots_text(plan_->spots) : std::string{};
            if (why.empty()) return "Get ready for " + where + ".";
            const double left_s = wait_s();
            return fmt::format("Wait: {}{}. Next is {}.", word(why.front()),
                               left_s > 0.0 ? fmt::format(", {:.0f} s", std::ceil(left_s)) : "", where);
        }
        case VisitStage::prompting:
            if (plan_->sham)
                return fmt::format("Aim at {} and do not spray: this shows what hands alone do.",
                                   spots_text(plan_->spots));
            if (plan_->spots.size() > 1)
                return fmt::format("Spray one pass over {} now, about two seconds in all.", spots_text(plan_->spots));
            return fmt::format("Spray {} now, one short burst.", spots_text(plan_->spots));
        case VisitStage::answering:
            return "Hands off: the answer of the engine is being measured.";
        case VisitStage::done:
            return "Put the can away: " + record_.ended;
        case VisitStage::stopped:
            return "Stopped. Put the can away; nothing recorded is lost.";
    }
    return "";
}

VisitState SprayVisit::state() const {
    VisitState s;
    s.stage = stage_;
    s.next_step = sentence();
    s.notice = notice_;
    s.waits = waits();
    s.wait_s = stage_ == VisitStage::waiting ? wait_s() : 0.0;
    if (stage_ == VisitStage::settling) {
        const double since_s = std::max({steady_from_s_, last_gap_s_, last_burst_s_ + config_.answer_s});
        s.settled = std::clamp((last_locked_s_ - since_s) / config_.settle_s, 0.0, 1.0);
    } else if (stage_ != VisitStage::gate) {
        s.settled = 1.0;
    }
    if (plan_) {
        s.why = plan_->why;
        s.would_change = plan_->would_change;
        s.asked = plan_->spots;
        s.sham = plan_->sham;
        s.at_most_more = plan_->at_most_more;
    }
    if (stage_ == VisitStage::done || stage_ == VisitStage::stopped) s.why = record_.ended;
    s.prompt = prompts_;
    s.spoken = spoken_;
    s.baseline_rpm = baseline_rpm_;
    s.smallest_provable_rpm = record_.smallest_provable_rpm;
    s.bursts = sprayed_bursts(record_);
    return s;
}

}  // namespace idlehark
