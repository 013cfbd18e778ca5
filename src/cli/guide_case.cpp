#include "src/cli/guide_case.hpp"

#include "src/analysis/listen.hpp"
#include "src/casebook/measure.hpp"
#include "src/casebook/visit_parts.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/cli/messages.hpp"
#include "src/files/json_text.hpp"
#include "src/files/local_time.hpp"
#include "src/files/text_file.hpp"
#include "src/visit/caution_gate.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace idlehark {

namespace {

std::string question_of(const std::string& key) {
    for (const auto& point : caution_points())
        if (point.key == key) return std::string{point.question};
    return key;
}

}  // namespace

Result<GuideCase> GuideCase::open(const std::string& folder, bool go_on) {
    auto book = Casebook::open(folder, Casebook::Access::write);
    if (!book) return book.error();
    GuideCase opened{std::move(book.value())};
    auto engine = opened.book_.engine();
    if (!engine) return engine.error();
    opened.engine_ = std::move(engine.value().engine);
    auto map = opened.book_.map();
    if (!map) return map.error();
    if (!map.value())
        return Error{folder + ": the case has no map of spots",
                     fmt::format("`idlehark case add {} map FILE` adds one.", folder)};
    opened.map_ = std::move(map.value()->map);
    auto visits = opened.book_.visits();
    if (!visits) return visits.error();
    std::reverse(visits.value().begin(), visits.value().end());  // the last first
    for (const auto& visit : visits.value()) {
        auto guided = opened.book_.guided(visit.id);
        if (!guided) return guided.error();
        if (!guided.value()) continue;
        if (!go_on) {
            if (visit.date.substr(0, 10) == now_text().substr(0, 10))
                opened.message_ = fmt::format(
                    "visit {} of today has a guided test already: --resume goes on with it, this is a new one",
                    visit.id);
            return opened;
        }
        opened.visit_ = visit.id;
        opened.record_ = std::move(*guided.value());
        for (const auto& burst : opened.record_.bursts)
            for (const auto& spot : burst.spots)
                if (!opened.map_.find(spot))
                    return Error{
                        fmt::format("{}: the map has no spot {} any more, which visit {} sprayed", folder, spot,
                                    visit.id),
                        fmt::format(
                            "`idlehark case add {} map FILE` gives it back; without --resume a new test begins.",
                            folder)};
        if (const auto done = opened.go_on(); !done) return done.error();
        opened.message_ =
            fmt::format("going on with visit {} of {}: {} bursts so far, {} spots decided", visit.id,
                        visit.date.substr(0, 10), sprayed_bursts(opened.record_), opened.record_.decided.size());
        return opened;
    }
    if (go_on) return Error{folder + ": no visit has a guided test to go on with", "Leave out --resume to begin one."};
    return opened;
}

Result<Done> GuideCase::go_on() {
    cautions_kept_ = record_.cautions.size();
    offset_s_ = record_.clock_s + kBetweenRecordings_s;
    const auto parts = guided_parts(book_, *visit_);
    if (!parts) return parts.error();
    for (const auto& text : missing_parts(record_, parts.value())) warn(text);
    for (const auto& part : parts.value())
        if (part.recording.running)  // cut off
            if (const auto done = close(part.recording.id); !done) return done.error();
    if (parts.value().empty()) return Done{};
    const auto request = listen_request(book_, parts.value(), engine_);
    if (!request) return request.error();
    const double first_s = parts.value().front().offset_s;
    Progress progress{"listening to what was recorded"};
    const auto heard = listen_through(
        request.value(), {.readings =
                              [&](std::span<const RpmReading> readings) {
                                  for (auto r : readings) {
                                      r.time_s += first_s;
                                      earlier_.push_back(r);
                                  }
                              },
                          .start = {},
                          .sound = {},
                          .progress = [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); }});
    progress.end();
    if (!heard) return heard.error();
    offset_s_ = std::max(offset_s_, first_s + heard.value().length_s + kBetweenRecordings_s);
    return Done{};
}

Result<Done> GuideCase::close(RowId recording) {
    const auto closed = book_.finish_recording(recording);
    if (!closed) return closed.error();
    if (!closed.value().empty()) warn("not every mark was kept: " + closed.value());
    return Done{};
}

Result<RowId> GuideCase::visit() {
    if (visit_) return *visit_;
    Visit visit;
    visit.date = now_text();
    visit.title = "guided spray test";
    auto id = book_.add_visit(visit);
    if (id) visit_ = id.value();
    return id;
}

Result<std::string> GuideCase::begin_recording(int channel, const std::string& device) {
    const auto id = visit();
    if (!id) return id.error();
    auto begun = book_.begin_recording(id.value(), RecordingKind::bay, "guided.flac", channel, device);
    if (!begun) return begun.error();
    recording_ = begun.value().id;
    return begun.value().path;
}

void GuideCase::withdraw_recording() {
    if (!recording_) return;
    if (const auto gone = book_.withdraw_recording(*recording_); !gone) warn(gone.error().what);
    recording_.reset();
}

Result<Done> GuideCase::keep(const VisitRecord& record) {
    if (record.bursts.empty() && record.cautions.empty()) return Done{};
    auto timeless = record;
    timeless.clock_s = 0.0;
    auto text = visit_record_json(timeless).dump();
    if (text == kept_) return Done{};
    const auto id = visit();
    if (!id) return id.error();
    for (; cautions_kept_ < record.cautions.size(); ++cautions_kept_) {
        const auto& answer = record.cautions[cautions_kept_];
        if (auto kept = book_.answer_gate(id.value(), question_of(answer.key), answer.yes ? "yes" : "no"); !kept)
            return kept.error();
    }
    if (auto kept = book_.keep_guided(id.value(), record); !kept) return kept.error();
    kept_ = std::move(text);
    return Done{};
}

Result<Done> GuideCase::finish(const VisitRecord& record) {
    kept_.clear();
    if (auto kept = keep(record); !kept) return kept.error();
    if (!recording_) return Done{};
    if (auto done = close(*recording_); !done) return done.error();
    for (const auto& b : record.bursts)
        if (b.counts() && b.time_s >= offset_s_)
            for (const auto& spot : b.spots)
                if (auto mark = book_.add_mark(*recording_, b.time_s - offset_s_, spot, !b.by_key); !mark)
                    return mark.error();
    return Done{};
}

void GuideCase::measure(const VisitPlanSettings& plan) {
    if (!recording_) return;
    const auto list = measurements_of_bay(book_, *recording_, plan.matters_rpm, &plan);
    if (!list) return warn(list.error().what);
    for (const auto& what : list.value()) {
        Progress progress{what.kind};
        const auto stored = measure_and_store(
            book_, what, [&](double share) { progress.at(static_cast<std::uint64_t>(1000.0 * share), 1000); });
        progress.end();
        if (!stored) warn(what.kind + ": " + stored.error().what);
    }
}

std::string GuideCase::where_it_is(bool decided) const {
    const auto& folder = book_.folder().path();
    if (!visit_) return "Nothing was kept.";
    return fmt::format("Kept in {} as visit {}.{}", folder, *visit_,
                       decided ? "" : fmt::format(" To go on: idlehark listen --guide --case {} --resume", folder));
}

}  // namespace idlehark
