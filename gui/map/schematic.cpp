#include "gui/map/schematic.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>

namespace idlehark::gui {

namespace {

constexpr double kPitch_mm = 90.0;  // from cylinder to cylinder
constexpr double kFirstX_mm = 120.0;
constexpr double kMargin_mm = 62.0;   // from the last cylinder to the end of the head
constexpr double kStagger_mm = 30.0;  // one bank sits further back than the other
// Heights below the outer edge of a bank's valve cover.
constexpr double kCoverTop_mm = 28.0;
constexpr double kHeadTop_mm = 84.0;
constexpr double kRail_mm = 106.0;
constexpr double kSeal_mm = 135.0;
constexpr double kGasket_mm = 180.0;
constexpr double kFlangeEnd_mm = 198.0;
constexpr double kRunnersEnd_mm = 306.0;
constexpr double kPlenumEnd_mm = 392.0;
constexpr double kRunner_mm = 40.0;

std::vector<Point> rectangle(double x0, double y0, double x1, double y1) {
    return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
}

/// Numbers the spots as they come.
class Spots {
   public:
    void add(std::string name, SpotKind kind, Point at, std::optional<int> cylinder = std::nullopt) {
        list.push_back({.spot = std::to_string(list.size() + 1),
                        .name = std::move(name),
                        .kind = kind,
                        .x_mm = at.x,
                        .y_mm = at.y,
                        .cylinder = cylinder});
    }
    std::vector<MapSpot> list;
};

/// One bank's place: x of its first cylinder, and how its heights become y.
struct Bank {
    std::vector<int> cylinders;
    double first_x_mm = kFirstX_mm;
    double zero_y_mm = 0.0;
    double down = 1.0;  ///< −1: mirrored, the plenum lies above

    [[nodiscard]] Point at(std::size_t place, double height_mm) const {
        return {first_x_mm + kPitch_mm * static_cast<double>(place), zero_y_mm + down * height_mm};
    }
    [[nodiscard]] double last_x_mm() const {
        return first_x_mm + kPitch_mm * static_cast<double>(std::max<std::size_t>(cylinders.size(), 1) - 1);
    }
    [[nodiscard]] std::vector<Point> slab(double from_mm, double to_mm, double beyond_mm) const {
        return rectangle(first_x_mm - beyond_mm, at(0, from_mm).y, last_x_mm() + beyond_mm, at(0, to_mm).y);
    }
};

void add_bank(std::vector<Part>& parts, const Bank& bank) {
    parts.push_back({PartKind::head, bank.slab(kHeadTop_mm, kGasket_mm - 4.0, kMargin_mm), 0.0, "head", 0});
    parts.push_back({PartKind::cover, bank.slab(kCoverTop_mm, kHeadTop_mm, kMargin_mm - 8.0), 0.0, "valve cover", 0});
    for (std::size_t i = 0; i < bank.cylinders.size(); ++i)
        parts.push_back({PartKind::runner,
                         {bank.at(i, kGasket_mm + 4.0), bank.at(i, kRunnersEnd_mm + 12.0)},
                         kRunner_mm,
                         "cyl " + std::to_string(bank.cylinders[i]),
                         bank.cylinders[i]});
    for (std::size_t i = 0; i < bank.cylinders.size(); ++i) {
        const auto flange = bank.at(i, kGasket_mm);
        parts.push_back(
            {PartKind::flange,
             rectangle(flange.x - 36.0, bank.at(i, kGasket_mm - 4.0).y, flange.x + 36.0, bank.at(i, kFlangeEnd_mm).y),
             0.0, "", bank.cylinders[i]});
        parts.push_back(
            {PartKind::injector, {bank.at(i, kRail_mm), bank.at(i, kSeal_mm + 12.0)}, 17.0, "", bank.cylinders[i]});
    }
    auto from = bank.at(0, kRail_mm);
    auto to = bank.at(bank.cylinders.empty() ? 0 : bank.cylinders.size() - 1, kRail_mm);
    from.x -= 40.0;
    to.x += 40.0;
    parts.push_back({PartKind::rail, {from, to}, 13.0, "fuel rail", 0});
}

Box box_of(const std::vector<Part>& parts, const std::vector<MapSpot>& spots) {
    double x0 = std::numeric_limits<double>::infinity();
    double y0 = x0;
    double x1 = -x0;
    double y1 = -x0;
    const auto take = [&](double x, double y, double around) {
        x0 = std::min(x0, x - around);
        y0 = std::min(y0, y - around);
        x1 = std::max(x1, x + around);
        y1 = std::max(y1, y + around);
    };
    for (const auto& p : parts)
        for (const auto& at : p.outline) take(at.x, at.y, p.pipe_mm / 2.0);
    for (const auto& s : spots) take(s.x_mm, s.y_mm, 0.0);
    return {x0, y0, x1 - x0, y1 - y0};
}

bool comparable(const MapSpot& s) {
    return s.cylinder && (s.kind == SpotKind::gasket || s.kind == SpotKind::injector_seal);
}

/// Least squares line to = offset + factor · from.
struct Stretch {
    double factor = 1.0;
    double offset = 0.0;
    [[nodiscard]] double at(double v) const { return offset + factor * v; }
};

Stretch stretch(const std::vector<std::array<double, 2>>& pairs) {
    const auto n = static_cast<double>(pairs.size());
    double from = 0.0;
    double to = 0.0;
    for (const auto& p : pairs) {
        from += p[0] / n;
        to += p[1] / n;
    }
    double square = 0.0;
    double product = 0.0;
    for (const auto& p : pairs) {
        square += (p[0] - from) * (p[0] - from);
        product += (p[0] - from) * (p[1] - to);
    }
    // All of one value, or collapsed onto one: only moved.
    const double factor = square > 1.0 && std::abs(product / square) > 0.1 ? product / square : 1.0;
    return {factor, to - factor * from};
}

}  // namespace

Schematic draw_schematic(const Engine& engine) {
    const auto rows = cylinder_banks(engine);
    const bool vee = rows.size() == 2;
    std::vector<Bank> banks{{.cylinders = rows[0]}};
    // In a vee the plenum lies between the banks, and the second is the first turned upside down below it.
    if (vee)
        banks.push_back({.cylinders = rows[1],
                         .first_x_mm = kFirstX_mm + kStagger_mm,
                         .zero_y_mm = kRunnersEnd_mm + kPlenumEnd_mm,
                         .down = -1.0});

    Schematic s;
    double right = 0.0;
    for (const auto& bank : banks) right = std::max(right, bank.last_x_mm());
    const double left = kFirstX_mm - 48.0;
    right += 48.0;
    const double middle_y = (kRunnersEnd_mm + kPlenumEnd_mm) / 2.0;
    const double below = vee ? banks[1].at(0, kCoverTop_mm).y + 44.0 : kPlenumEnd_mm + 88.0;
    const Point throttle{left - 46.0, middle_y};

    // Hoses first: they run below the rest.
    const Point servo{right + 74.0, middle_y - 4.0};
    const Point valve{left + 34.0, vee ? middle_y : below};
    const Point sensor{right - 30.0, vee ? middle_y : below};
    const Point breather{banks[0].at(0, kCoverTop_mm + 24.0).x - kMargin_mm - 34.0, kCoverTop_mm + 24.0};
    const auto hose = [&](std::vector<Point> way, double width, std::string name) {
        s.parts.push_back({PartKind::hose, std::move(way), width, std::move(name), 0});
    };
    hose({{right - 20.0, middle_y - 4.0}, servo}, 20.0, "");
    hose({{banks[0].at(0, 0).x - 40.0, breather.y}, breather, {breather.x, throttle.y}}, 18.0, "");
    if (!vee) {
        hose({{throttle.x - 52.0, middle_y}, {throttle.x - 52.0, below}, valve, {valve.x, middle_y}}, 18.0, "");
        hose({{sensor.x, middle_y}, sensor}, 10.0, "");
    }
    s.parts.push_back(
        {PartKind::duct, {{throttle.x - 104.0, throttle.y}, {throttle.x - 20.0, throttle.y}}, 62.0, "air duct", 0});
    for (const auto& bank : banks) add_bank(s.parts, bank);
    s.parts.push_back({PartKind::plenum, rectangle(left, kRunnersEnd_mm, right, kPlenumEnd_mm), 0.0, "plenum", 0});
    s.parts.push_back({PartKind::throttle, rectangle(throttle.x - 24.0, throttle.y - 38.0, left, throttle.y + 38.0),
                       0.0, "throttle", 0});
    s.parts.push_back(
        {PartKind::servo, rectangle(servo.x, servo.y - 46.0, servo.x + 60.0, servo.y + 46.0), 0.0, "brake servo", 0});

    Spots spots;
    for (const bool seal : {false, true})
        for (int c = 1; c <= engine.cylinders; ++c)
            for (const auto& bank : banks)
                for (std::size_t i = 0; i < bank.cylinders.size(); ++i)
                    if (bank.cylinders[i] == c)
                        spots.add((seal ? "injector seal, cylinder " : "runner gasket, cylinder ") + std::to_string(c),
                                  seal ? SpotKind::injector_seal : SpotKind::gasket,
                                  bank.at(i, seal ? kSeal_mm : kGasket_mm), c);
    spots.add("throttle gasket", SpotKind::gasket, {left, throttle.y - 26.0});
    spots.add("throttle shaft", SpotKind::throttle, {throttle.x, throttle.y + 26.0});
    spots.add("plenum gasket, front end", SpotKind::gasket,
              {left + std::min(76.0, 0.35 * (right - left)), middle_y + 34.0});
    spots.add("plenum gasket, rear end", SpotKind::gasket, {right - 4.0, middle_y + 34.0});
    spots.add("brake servo hose", SpotKind::brake_servo, {right + 40.0, servo.y});
    spots.add("crankcase breather hose", SpotKind::breather, {breather.x, breather.y + 40.0});
    if (vee) {
        spots.add("idle valve hose", SpotKind::valve, {left + 34.0, middle_y - 26.0});
        spots.add("pressure sensor hose", SpotKind::sensor, {right - 60.0, middle_y - 26.0});
    } else {
        spots.add("idle valve hose", SpotKind::valve, {valve.x, below});
        spots.add("pressure sensor hose", SpotKind::sensor, sensor);
    }
    spots.add("air duct, at the throttle", SpotKind::hose, {throttle.x - 60.0, throttle.y - 30.0});
    s.spots = std::move(spots.list);
    s.bounds_mm = box_of(s.parts, s.spots);
    return s;
}

namespace {

/// How a drawing gets to the map's places, and the worst distance that is left.
struct Fit {
    Stretch x, y;
    double worst_mm = std::numeric_limits<double>::infinity();
};

Fit fit(const Schematic& schematic, const BayMap& map) {
    std::vector<std::array<double, 2>> xs;
    std::vector<std::array<double, 2>> ys;
    for (const auto& mine : map.spots) {
        if (!comparable(mine)) continue;
        for (const auto& drawn : schematic.spots)
            if (drawn.kind == mine.kind && drawn.cylinder == mine.cylinder) {
                xs.push_back({drawn.x_mm, mine.x_mm});
                ys.push_back({drawn.y_mm, mine.y_mm});
                break;
            }
    }
    Fit f;
    if (xs.size() < 2) return f;
    f.x = stretch(xs);
    f.y = stretch(ys);
    f.worst_mm = 0.0;
    for (std::size_t i = 0; i < xs.size(); ++i)
        f.worst_mm = std::max(f.worst_mm, std::hypot(f.x.at(xs[i][0]) - xs[i][1], f.y.at(ys[i][0]) - ys[i][1]));
    return f;
}

void moved(Schematic& s, const Fit& f) {
    const auto& x = f.x;
    const auto& y = f.y;
    const double wide = std::sqrt(std::abs(x.factor * y.factor));
    for (auto& part : s.parts) {
        for (auto& p : part.outline) p = {x.at(p.x), y.at(p.y)};
        part.pipe_mm *= wide;
    }
    for (auto& spot : s.spots) {
        spot.x_mm = x.at(spot.x_mm);
        spot.y_mm = y.at(spot.y_mm);
    }
    s.bounds_mm = box_of(s.parts, s.spots);
}

}  // namespace

Schematic schematic_for(const Engine& engine, const BayMap& map) {
    std::vector<Engine> ways(1, engine);
    if (engine.banks.empty()) {
        ways[0].banks = cylinder_banks(engine);
        std::array<std::vector<std::vector<int>>, 3> others;
        others[0].resize(1);
        others[1].resize(2);
        others[2].resize(2);
        for (int c = 1; c <= engine.cylinders; ++c) {
            others[0][0].push_back(c);
            others[1][c > engine.cylinders / 2 ? 1 : 0].push_back(c);
            others[2][c % 2 == 0 ? 1 : 0].push_back(c);
        }
        for (auto& banks : others)
            if (!banks.back().empty()) {
                ways.push_back(engine);
                ways.back().banks = std::move(banks);
            }
    }
    Schematic best = draw_schematic(ways[0]);
    Fit best_fit;
    best_fit.worst_mm = kFit_mm;
    bool fits = false;
    for (const auto& way : ways) {
        auto drawn = draw_schematic(way);
        const auto f = fit(drawn, map);
        if (f.worst_mm >= best_fit.worst_mm - (fits ? 1.0 : 0.0)) continue;  // an earlier way, if it is as good
        best = std::move(drawn);
        best_fit = f;
        fits = true;
    }
    if (!fits) return best;

    moved(best, best_fit);
    return best;
}

std::optional<Point> cylinder_place(const Schematic& drawing, const BayMap& map, bool injector, int cylinder) {
    const auto kind = injector ? SpotKind::injector_seal : SpotKind::gasket;
    for (const auto& s : map.spots)
        if (s.cylinder == cylinder && s.kind == kind) return Point{s.x_mm, s.y_mm};
    if (!map.picture.empty()) return {};
    for (const auto& part : drawing.parts) {
        if (part.cylinder != cylinder || part.kind != (injector ? PartKind::injector : PartKind::runner) ||
            part.outline.empty())
            continue;
        Point middle{0.0, 0.0};
        for (const auto& p : part.outline) {
            middle.x += p.x / static_cast<double>(part.outline.size());
            middle.y += p.y / static_cast<double>(part.outline.size());
        }
        return middle;
    }
    return {};
}

}  // namespace idlehark::gui
