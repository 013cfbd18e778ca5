#include "dsp/sim/live_bay.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

namespace idlehark::sim {

namespace {

constexpr double kLeastAmount = 0.2;
constexpr double kFullBurst_s = 1.0;  // a spot that is sprayed for less gets as much less
constexpr double kSteady_s = 6.0;     // of sound from which the can's level is set
constexpr double kTail_s = 1.0;       // of a can, after which it is silent

/// A mix whose can is pressed while it plays.
class MixWithCan final : public Source {
   public:
    MixWithCan(std::unique_ptr<Mix> mix, double gain, std::uint64_t seed)
        : Source(mix->sample_rate_hz()), mix_(std::move(mix)), gain_(static_cast<float>(gain)), seed_(seed) {}

    void press(double time_s, double duration_s) {
        const double start_s = static_cast<double>(frames_) / sample_rate_hz();
        SprayCanSpec can;
        can.sprays = {{std::max(0.0, time_s - start_s), duration_s, 1.0}};
        const double until_s = std::max(time_s, start_s) + duration_s + kTail_s;
        cans_.push_back({make_source(can, sample_rate_hz(), seed_ + cans_made_++),
                         static_cast<std::uint64_t>(until_s * sample_rate_hz())});
    }

   private:
    void make_block(std::span<float> out) override {
        mix_->render(out);
        for (auto& can : cans_) {
            can.sound->render(scratch_);
            for (std::size_t i = 0; i < out.size(); ++i) out[i] += gain_ * scratch_[i];
        }
        frames_ += out.size();
        std::erase_if(cans_, [&](const Can& c) { return frames_ >= c.until_frame; });
    }
    void rewind() override {
        mix_->restart();
        cans_.clear();
        cans_made_ = frames_ = 0;
    }

    struct Can {
        std::unique_ptr<Source> sound;
        std::uint64_t until_frame;
    };
    std::unique_ptr<Mix> mix_;
    float gain_;
    std::uint64_t seed_;
    std::vector<Can> cans_;
    std::uint64_t cans_made_ = 0;
    std::uint64_t frames_ = 0;
    std::vector<float> scratch_ = std::vector<float>(kBlockFrames);
};

SpeedPath idle_path(const SessionSpec& spec, double longest_s) {
    if (spec.spots.empty() || spec.leak_rpm.size() != spec.spots.size())
        throw std::invalid_argument("LiveBay: needs spots, and one entry of leak_rpm for each");
    SpeedPathSpec idle = spec.idle;
    idle.strokes = spec.engine.engine.strokes;
    idle.duration_s = longest_s;
    idle.bursts.clear();
    return SpeedPath(idle);
}

}  // namespace

struct LiveBay::Parts {
    SessionSpec spec;
    SpeedPath path;
    Random hands;
    std::vector<SessionBurst> bursts;
    std::unique_ptr<Source> sound;
    MixWithCan* can = nullptr;  // inside the sound

    void make_sound() {
        auto mix = mix_without_can(spec, path);
        const auto seed = sub_seed(spec.seed, "can");
        const double gain =
            std::isfinite(spec.sound.hiss_level_db)
                ? spray_can_gain(*mix, {}, spec.sound.hiss_level_db, seed, std::min(kSteady_s, spec.quiet_start_s))
                : 0.0;
        auto with_can = std::make_unique<MixWithCan>(std::move(mix), gain, seed);
        can = with_can.get();
        sound = through_microphone(std::move(with_can), spec.sound.microphone);
    }
};

LiveBay::LiveBay(const SessionSpec& spec, double longest_s)
    : parts_(std::make_unique<Parts>(
          Parts{spec, idle_path(spec, longest_s), sub_stream(spec.seed, "live hands"), {}, nullptr})) {}
LiveBay::~LiveBay() = default;
LiveBay::LiveBay(LiveBay&&) noexcept = default;
LiveBay& LiveBay::operator=(LiveBay&&) noexcept = default;

const SessionSpec& LiveBay::spec() const noexcept { return parts_->spec; }
const SpeedPath& LiveBay::path() const noexcept { return parts_->path; }
const std::vector<SessionBurst>& LiveBay::bursts() const noexcept { return parts_->bursts; }

Source& LiveBay::sound() {
    if (!parts_->sound) parts_->make_sound();
    return *parts_->sound;
}

void LiveBay::spray(double time_s, std::span<const std::size_t> spots, double duration_s) {
    auto& p = *parts_;
    const auto& hands = p.spec.hands;
    const double share_s = duration_s / static_cast<double>(std::max<std::size_t>(1, spots.size()));
    double start_s = time_s;
    for (const std::size_t spot : spots) {
        const auto& here = p.spec.spots.at(spot);
        double amount = std::max(kLeastAmount, 1.0 + hands.amount_spread * gaussian(p.hands));
        if (spots.size() > 1) amount *= std::min(1.0, share_s / kFullBurst_s);
        if (uniform(p.hands, 0.0, 1.0) < hands.miss_probability) amount = 0.0;
        double change = p.spec.leak_rpm[spot];
        for (std::size_t other = 0; other < p.spec.spots.size(); ++other)
            if (const auto& there = p.spec.spots[other];
                other != spot && std::hypot(here.x_mm - there.x_mm, here.y_mm - there.y_mm) <= hands.reach_mm)
                change += hands.overspray_share * p.spec.leak_rpm[other];
        p.bursts.push_back({start_s, share_s, spot, amount});
        if (change * amount != 0.0)
            p.path.add_burst({start_s, share_s, change * amount, p.spec.shape}, p.spec.idle.regulation_s);
        start_s += share_s;
    }
    if (p.can) p.can->press(time_s, duration_s);
}

}  // namespace idlehark::sim
