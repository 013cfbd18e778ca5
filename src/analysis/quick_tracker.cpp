#include "src/analysis/quick_tracker.hpp"

#include <utility>

namespace idlehark {

void QuickTracker::read(const IdleTracker::Heard& heard) {
    reader_.give([this, heard] {
        const auto readings = tracker_.read(heard);
        const std::lock_guard lock(mutex_);
        ready_.insert(ready_.end(), readings.begin(), readings.end());
    });
}

std::vector<RpmReading> QuickTracker::ready() {
    const std::lock_guard lock(mutex_);
    return std::exchange(ready_, {});
}

std::vector<RpmReading> QuickTracker::process(AudioView x) {
    read(tracker_.hear(x));
    return ready();
}

std::vector<RpmReading> QuickTracker::catch_up() {
    reader_.finish();
    return ready();
}

std::vector<RpmReading> QuickTracker::finish() {
    read(tracker_.hear_end());
    return catch_up();
}

}  // namespace idlehark
