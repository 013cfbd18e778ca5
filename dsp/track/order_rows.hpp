#pragma once

#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"
#include "dsp/real_fft.hpp"
#include "dsp/units.hpp"

#include <complex>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <span>
#include <vector>

namespace idlehark {

struct OrderRowsConfig {
    double sample_rate_hz = 48000.0;  ///< 8000..192000
    Engine engine;
    double hop_s = 0.25;          ///< from row to row, 0.05..2
    double window_s = 0.5;        ///< of each transform, 0.1..2: shorter blurs, longer smears an idle that hunts
    std::size_t columns = 480;    ///< 16..4096
    double highest_firings = 16;  ///< the last column's order, in multiples of the firing order, 1..64
};

/// The spectrum at one moment, over orders instead of frequencies: multiples of the crank's turning.
struct OrderRow {
    double time_s = 0.0;
    double rpm = 0.0;             ///< NaN: not locked, and then every level is NaN
    std::vector<float> level_db;  ///< by column, over the middle of the columns around (one firing order each way)
};

/// Shows why a speed is believed: lines that stand on multiples of the firing order, whatever the speed does.
/// Input    mono float, any block length; readings of an IdleTracker that hears the same samples.
/// Output   a row every hop, as soon as a reading at or after its time is there. Nothing depends on the block length.
/// Errors   constructor: std::invalid_argument. NaN and infinity are heard as silence.
/// Threads  one owner.
class OrderRows {
   public:
    explicit OrderRows(const OrderRowsConfig& config);

    void process(AudioView x);
    /// Rows whose moment the readings have reached. `readings` in time order; those of earlier calls need not come
    /// again.
    [[nodiscard]] std::vector<OrderRow> rows(std::span<const RpmReading> readings);
    void reset();

    [[nodiscard]] double highest_order() const noexcept { return highest_order_; }
    [[nodiscard]] double firing_order() const noexcept { return firing_order_; }

   private:
    struct Spectrum {
        double time_s;
        std::vector<float> power;
    };
    static constexpr std::size_t kMostWaiting = 256;

    void transform();
    [[nodiscard]] OrderRow row_of(const Spectrum& s, const RpmReading& reading) const;

    OrderRowsConfig config_;
    double firing_order_;  ///< firings per turn
    double highest_order_;
    RealFft fft_;
    std::vector<float> window_;
    std::vector<float> heard_;  ///< the last samples, oldest first
    std::vector<float> windowed_;
    std::vector<std::complex<float>> bins_;
    std::size_t kept_bins_ = 0;
    std::uint64_t hop_frames_;
    std::uint64_t frames_ = 0;
    std::deque<Spectrum> waiting_;
};

}  // namespace idlehark
