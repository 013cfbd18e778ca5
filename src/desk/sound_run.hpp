#pragma once

#include "src/live/live_session.hpp"
#include "src/live/live_source.hpp"
#include "src/practice/practice_player.hpp"
#include "src/recording/marks_journal.hpp"
#include "src/recording/recorder.hpp"
#include "src/result.hpp"

#include <chrono>
#include <memory>
#include <optional>
#include <string>

namespace idlehark {

/// One sound that is listened to: a device, a recording, or a practice bay; recorded while it runs if a path is given.
/// Threads  one owner.
class SoundRun {
   public:
    struct Start {
        std::optional<IdleTrackerConfig> tracker;  ///< its sample rate is filled in
        std::string record_path;                   ///< empty: not recorded
        int channels = 1;                          ///< of a device; the first is the microphone
    };
    static Result<std::unique_ptr<SoundRun>> device(const std::string& wanted, const Start& start);
    /// `pace` as of FilePlayer.
    static Result<std::unique_ptr<SoundRun>> file(const std::string& path, double pace, const Start& start);
    static Result<std::unique_ptr<SoundRun>> practice(std::unique_ptr<sim::LiveBay> bay, double pace,
                                                      const Start& start);
    ~SoundRun();

    /// What was heard since the last call; waits at most so long.
    [[nodiscard]] LiveNews look(std::chrono::milliseconds patience) { return session_->look(patience); }
    /// No more sound is taken; the recording is closed; the last news.
    LiveNews finish(const std::string& why);
    /// Why no more can be expected: unplugged, asleep.
    [[nodiscard]] std::optional<Error> broken() { return source_ ? source_->broken() : std::nullopt; }
    [[nodiscard]] bool at_end() const { return source_ && source_->at_end(); }
    /// Errors: the mark could not be kept on the disk.
    Result<Done> mark(double time_s, const std::string& spot);

    [[nodiscard]] double sample_rate_hz() const noexcept { return sample_rate_hz_; }
    [[nodiscard]] const std::string& name() const noexcept { return name_; }
    [[nodiscard]] const std::string& record_path() const noexcept { return record_path_; }
    [[nodiscard]] bool recording() const noexcept { return recorder_.has_value(); }
    [[nodiscard]] PracticePlayer* practice() noexcept { return player_.get(); }
    [[nodiscard]] LiveSource* source() noexcept { return source_ ? &*source_ : nullptr; }

   private:
    SoundRun() = default;
    Result<Done> begin(const Start& start, Capture& capture);

    std::string name_, record_path_;
    double sample_rate_hz_ = 0.0;
    std::optional<LiveSource> source_;
    std::unique_ptr<Capture> own_;
    std::unique_ptr<PracticePlayer> player_;
    std::optional<Recorder> recorder_;
    std::optional<MarksJournal> marks_;
    std::unique_ptr<LiveSession> session_;
};

}  // namespace idlehark
