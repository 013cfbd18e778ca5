#pragma once

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace idlehark::sim {

/// A sound that can be rendered for hours in constant memory.
/// Output   mono float; render() continues where it was. The samples do not depend on the block lengths asked for,
///          to the last bit: inside, everything is made in blocks of kBlockFrames counted from frame 0.
/// Errors   constructor: std::invalid_argument if the rate is not 8000..192000 Hz. render(): none.
/// Threads  one owner.
class Source {
   public:
    static constexpr std::size_t kBlockFrames = 1024;

    explicit Source(double sample_rate_hz);
    virtual ~Source() = default;
    Source(const Source&) = delete;
    Source& operator=(const Source&) = delete;

    void render(std::span<float> out);
    void restart();  ///< back to frame 0; the same samples come again
    [[nodiscard]] double sample_rate_hz() const noexcept { return sample_rate_hz_; }

   protected:
    virtual void make_block(std::span<float> out) = 0;  ///< overwrites kBlockFrames samples, the next ones in time
    virtual void rewind() = 0;                          ///< every state as after construction

   private:
    double sample_rate_hz_;
    std::vector<float> block_;
    std::size_t used_ = kBlockFrames;
};

/// Renders the next `seconds` of a sound into one vector.
[[nodiscard]] std::vector<float> render_seconds(Source& source, double seconds);

struct Band {
    double low_hz;
    double high_hz;
};

/// RMS within a band over the first `seconds` of a sound: averaged Hann periodograms, bins about 5 Hz apart. Restarts
/// it before and after.
[[nodiscard]] double band_rms(Source& source, Band band, double seconds);
[[nodiscard]] double band_rms(std::span<const float> x, double sample_rate_hz, Band band);

/// The engine plus what disturbs it.
class Mix final : public Source {
   public:
    /// The band in which a signal-to-noise ratio is stated unless another is given: what a telephone hears.
    static constexpr Band kHeardBand{140.0, 8000.0};
    static constexpr double kCalibration_s = 20.0;

    explicit Mix(std::unique_ptr<Source> engine);

    void add(std::unique_ptr<Source> disturber, double gain);
    /// Scales the disturber so that over the first `calibration_s` of sound the engine's power within the band is
    /// `snr_db` above the disturber's. The band is cut at 0.45 of the sample rate. Call before render(): restarts.
    /// Throws std::invalid_argument when either is silent in that band.
    void add_at_snr(std::unique_ptr<Source> disturber, double snr_db, Band band = kHeardBand,
                    double calibration_s = kCalibration_s);
    [[nodiscard]] double engine_rms(Band band, double calibration_s = kCalibration_s);

   private:
    void make_block(std::span<float> out) override;
    void rewind() override;

    struct Part {
        std::unique_ptr<Source> source;
        float gain;
    };
    std::vector<Part> parts_;  // the engine first
    std::vector<float> scratch_;
};

}  // namespace idlehark::sim
