#include "dsp/evidence/burst_odds.hpp"
#include "dsp/evidence/overspray.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace idlehark::evidence;

namespace {

const ChangeGrid kGrid;

/// A spot at (x, y) that shows a change known to 1.5 rpm and a fifth of itself.
SprayedSpot shows(double change_rpm, double x_mm, double y_mm, bool source = false) {
    const double sd = std::hypot(1.5, 0.2 * change_rpm);
    SprayedSpot spot{true, x_mm, y_mm, source, change_rpm, sd, {}};
    for (const double a : kGrid.rpm)
        spot.log_curve.push_back(0.5 * std::pow(change_rpm / sd, 2) - 0.5 * std::pow((a - change_rpm) / sd, 2));
    return spot;
}

double own(const std::vector<SprayedSpot>& spots, std::size_t spot) {
    return own_leak_log_odds(spots, spot, kGrid.rpm);
}

}  // namespace

TEST_CASE("own_leak_log_odds: a third of a near leak's change is drift, as much as the leak's is not",
          "[dsp][evidence]") {
    CHECK(own({shows(30.0, 0.0, 0.0, true), shows(10.0, 45.0, 0.0)}, 1) < -0.5);
    CHECK(own({shows(30.0, 0.0, 0.0, true), shows(30.0, 45.0, 0.0)}, 1) > 2.0);
    CHECK(own({shows(30.0, 0.0, 0.0, true), shows(-10.0, 45.0, 0.0)}, 1) > 3.0);  // drift does not turn its sign
    CHECK(own({shows(-30.0, 0.0, 0.0, true), shows(-10.0, 45.0, 0.0)}, 1) < -0.5);
}

TEST_CASE("own_leak_log_odds: what drifts from several leaks adds up", "[dsp][evidence]") {
    const std::vector<SprayedSpot> one{shows(30.0, 0.0, 0.0, true), shows(18.0, 45.0, 0.0)};
    auto two = one;
    two.push_back(shows(30.0, 90.0, 0.0, true));
    CHECK(own(two, 1) < own(one, 1) - 0.5);
    CHECK(own(two, 1) < -0.5);
}

TEST_CASE("own_leak_log_odds: the session's other neighbours say how far spray drifts", "[dsp][evidence]") {
    // A change of 9 rpm, 95 mm from a leak of 30: told by what two others as far away show.
    const auto session = [](double others_rpm) {
        return std::vector<SprayedSpot>{shows(30.0, 0.0, 0.0, true), shows(9.0, 95.0, 0.0),
                                        shows(others_rpm, -95.0, 0.0), shows(others_rpm, 0.0, 95.0)};
    };
    CHECK(own(session(9.0), 1) < 0.0);
    CHECK(own(session(0.0), 1) > 1.5);
    CHECK_FALSE(has_leaking_neighbour(session(0.0), 0));
    CHECK(has_leaking_neighbour(session(0.0), 1));
}

TEST_CASE("own_leak_log_odds: a draught may take spray to one neighbour and not to the others", "[dsp][evidence]") {
    // A third of the leak's change, as drift would have it; two others as near show nothing.
    const std::vector<SprayedSpot> spots{shows(40.0, 0.0, 0.0, true), shows(12.0, 80.0, 0.0), shows(0.0, -55.0, 0.0),
                                         shows(0.0, 0.0, 55.0)};
    CHECK(own(spots, 1) < 1.0);
    auto as_large = spots;
    as_large[1] = shows(40.0, 80.0, 0.0);
    CHECK(own(as_large, 1) > 2.0);
}

TEST_CASE("own_leak_log_odds: neighbours that may leak themselves tell how far spray drifts, too", "[dsp][evidence]") {
    // Spot 1 shows four tenths of what a spot 80 mm away does, which is not proven; so do two others around that one,
    // each of them large enough to be a source to spot 1.
    const std::vector<SprayedSpot> alone{shows(38.0, 0.0, 0.0, true), shows(15.0, 80.0, 0.0)};
    auto with_others = alone;
    with_others.push_back(shows(17.0, -80.0, 0.0, true));
    with_others.push_back(shows(17.0, 0.0, 80.0, true));
    CHECK(own(with_others, 1) < own(alone, 1) - 0.5);
}

TEST_CASE("own_leak_log_odds: a spot far from every leak, or not on the map, has no neighbour", "[dsp][evidence]") {
    std::vector<SprayedSpot> spots{shows(30.0, 0.0, 0.0, true), shows(9.0, 400.0, 0.0), shows(9.0, 20.0, 0.0)};
    spots[2].placed = false;
    CHECK_FALSE(has_leaking_neighbour(spots, 1));
    CHECK_FALSE(has_leaking_neighbour(spots, 2));
}
