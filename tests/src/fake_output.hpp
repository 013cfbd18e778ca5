#pragma once

#include "src/capture/sound_output.hpp"

#include <chrono>
#include <memory>
#include <mutex>
#include <optional>
#include <utility>
#include <vector>

namespace idlehark::test {

/// What a fake output was given to play; any thread.
class PlayedSounds {
   public:
    void add(std::vector<float> sound) {
        const std::scoped_lock lock{mutex_};
        all_.push_back(std::move(sound));
    }
    [[nodiscard]] std::vector<std::vector<float>> all() const {
        const std::scoped_lock lock{mutex_};
        return all_;
    }

   private:
    mutable std::mutex mutex_;
    std::vector<std::vector<float>> all_;
};

/// An output whose sounds go on until they are hushed, and which lets go of one only when its device next asks for
/// sound: at `ask()`, or by itself `asks_every` after.
class FakeOutput final : public SoundOutput {
   public:
    explicit FakeOutput(std::shared_ptr<PlayedSounds> played, std::optional<std::chrono::milliseconds> asks_every = {})
        : played_(std::move(played)), asks_every_(asks_every) {}

    [[nodiscard]] double sample_rate_hz() const noexcept override { return 16000.0; }
    [[nodiscard]] bool playing() const noexcept override {
        return playing_ && !(hushed_ && asks_every_ && Clock::now() - *hushed_ > *asks_every_);
    }
    bool play(std::vector<float> mono) override {
        if (playing()) return false;
        playing_ = true;
        hushed_.reset();
        played_->add(std::move(mono));
        return true;
    }
    void hush() noexcept override {
        if (!hushed_) hushed_ = Clock::now();
    }
    void ask() {
        if (hushed_) playing_ = false;
    }
    void end() { playing_ = false; }

   private:
    using Clock = std::chrono::steady_clock;
    std::shared_ptr<PlayedSounds> played_;
    std::optional<std::chrono::milliseconds> asks_every_;
    bool playing_ = false;
    std::optional<Clock::time_point> hushed_;
};

}  // namespace idlehark::test
