#include "dsp/statistics.hpp"
#include "tests/published/real_recordings.hpp"

#include <cmath>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace real_recordings;

TEST_CASE("Real sound: a run-up follows the car's own tachometer", "[published][real]") {
    const auto sound = real_sound("runup_with_tach.wav");
    if (!sound) return;
    std::ifstream csv(real_dir() / "runup_with_tach.csv");
    std::string line;
    std::getline(csv, line);
    std::vector<double> time_s, rpm;
    for (double t = 0.0, r = 0.0; csv >> t && csv.ignore(1) && csv >> r;) {
        time_s.push_back(t);
        rpm.push_back(r);
    }
    REQUIRE(rpm.size() > 200);
    const auto tach = [&](double t) {
        const auto at = std::upper_bound(time_s.begin(), time_s.end(), t);
        if (at == time_s.begin() || at == time_s.end()) return std::nan("");
        const auto k = static_cast<std::size_t>(at - time_s.begin());
        return std::lerp(rpm[k - 1], rpm[k], (t - time_s[k - 1]) / (time_s[k] - time_s[k - 1]));
    };
    const auto all = readings(*sound, 4, 900.0, 5000.0);
    std::vector<double> error;
    for (const RpmReading& r : all)
        if (r.locked && !std::isnan(tach(r.time_s))) error.push_back(std::abs(r.rpm / tach(r.time_s) - 1.0));
    REQUIRE(error.size() > all.size() / 4);  // what is asked is the error once locked
    const double median_error = stats::median(error);
    const double gross =
        static_cast<double>(std::count_if(error.begin(), error.end(), [](double e) { return e > 0.03; })) /
        static_cast<double>(error.size());
    WARN("locked " << error.size() << " of " << all.size() << " readings, median error " << 100.0 * median_error
                   << " %, beyond 3 %: " << 100.0 * gross << " %");
    CHECK(median_error <= 0.005);
}

TEST_CASE("Real sound: an engine above the stated range is not heard as one within it", "[published][real]") {
    const std::string file = GENERATE("high_rev_4cyl.wav", "high_rev_8cyl.wav");
    const auto sound = real_sound(file);
    if (!sound) return;
    CAPTURE(file);
    const auto all = readings(*sound, file == "high_rev_4cyl.wav" ? 4 : 8, 500.0, 1500.0);
    const auto rpm = locked_rpm(all);
    WARN(file << ": locked " << rpm.size() << " of " << all.size());
    CHECK(rpm.empty());
}
