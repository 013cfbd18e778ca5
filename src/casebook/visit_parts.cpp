#include "src/casebook/visit_parts.hpp"

#include "src/visit/visit_marks.hpp"

#include <algorithm>

namespace idlehark {

Result<std::vector<VisitPart>> guided_parts(const Casebook& book, RowId visit) {
    std::vector<VisitPart> parts;
    const auto guided = book.guided(visit);
    if (!guided) return guided.error();
    if (!guided.value()) return parts;
    auto recordings = book.recordings(visit);
    if (!recordings) return recordings.error();
    for (const auto& part : guided.value()->recordings) {
        const auto at = std::find_if(recordings.value().begin(), recordings.value().end(), [&](const CaseRecording& r) {
            return r.kind == RecordingKind::bay && r.file == part.name && (r.running || r.frames > 0);
        });
        if (at == recordings.value().end()) continue;
        if (std::none_of(parts.begin(), parts.end(), [&](const VisitPart& p) { return p.recording.id == at->id; }))
            parts.push_back({*at, part.offset_s});
    }
    std::stable_sort(parts.begin(), parts.end(),
                     [](const VisitPart& a, const VisitPart& b) { return a.offset_s < b.offset_s; });
    return parts;
}

std::vector<std::string> missing_parts(const VisitRecord& guided, const std::vector<VisitPart>& parts) {
    std::vector<std::string> texts;
    for (const auto& noted : guided.recordings)
        if (std::none_of(parts.begin(), parts.end(),
                         [&](const VisitPart& p) { return p.recording.file == noted.name; }))
            texts.push_back(noted.name + ", a part of this test, is not in the case: its bursts count for nothing");
    return texts;
}

Result<ListenRequest> listen_request(const Casebook& book, const std::vector<VisitPart>& parts, const Engine& engine) {
    ListenRequest request;
    request.engine = engine;
    for (const auto& part : parts) {
        auto path = book.audio_path(part.recording);
        if (!path) return path.error();
        if (request.path.empty()) {
            request.path = std::move(path.value());
            request.channel = part.recording.channel;
        } else {
            request.later.push_back(
                {std::move(path.value()), part.recording.channel, part.offset_s - parts.front().offset_s});
        }
    }
    return request;
}

Result<std::vector<Mark>> marks_of_parts(const Casebook& book, const std::vector<VisitPart>& parts,
                                         const VisitRecord* guided) {
    std::vector<Mark> marks;
    const auto add = [&](double time_s, const std::string& spot) {
        marks.push_back({.time_s = time_s - parts.front().offset_s, .spot = spot, .extra = {}, .line = 0});
    };
    for (const auto& part : parts) {
        if (guided) {
            for (const auto& m : marks_of_visit(*guided).marks)
                if (m.spot != kShamMark && m.time_s >= part.offset_s &&
                    m.time_s < part.offset_s + part.recording.length_s())
                    add(m.time_s, m.spot);
            continue;
        }
        const auto of_one = book.marks(part.recording.id);
        if (!of_one) return of_one.error();
        for (const auto& m : of_one.value())
            if (!m.withdrawn) add(m.time_s + part.offset_s, m.spot);
    }
    return marks;
}

}  // namespace idlehark
