#include "gui/shell/map_pane.hpp"

#include "gui/flow/sentence.hpp"
#include "gui/look/palette.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <utility>
#include <vector>

namespace idlehark::gui {

namespace {

constexpr double kMargin = 26.0;
constexpr std::uint32_t kLongestSide_px = 2048;  // small enough for any graphics card
constexpr std::uint32_t kRowsAtOnce = 192;
constexpr double kWheelStep = 1.18;
constexpr auto kDoubleClick = std::chrono::milliseconds{400};

bool same_engine(const Engine& a, const Engine& b) {
    return a.cylinders == b.cylinders && a.firing_angles_deg == b.firing_angles_deg &&
           a.firing_order == b.firing_order && a.strokes == b.strokes && a.banks == b.banks;
}

std::string name_of(const Part& part, const Words& say) {
    switch (part.kind) {
        case PartKind::cover:
            return say(Word::part_cover);
        case PartKind::head:
            return say(Word::part_head);
        case PartKind::plenum:
            return say(Word::part_plenum);
        case PartKind::throttle:
            return say(Word::part_throttle);
        case PartKind::duct:
            return say(Word::part_duct);
        case PartKind::servo:
            return say(Word::part_servo);
        case PartKind::runner:
            return say(Word::part_cylinder, part.cylinder);
        case PartKind::flange:
        case PartKind::rail:
        case PartKind::injector:
        case PartKind::hose:
            break;
    }
    return {};
}

DecodedPicture read_picture(const std::string& path) {
    constexpr std::uintmax_t kLargest_bytes = 100U << 20U;
    std::error_code code;
    // Not a pipe or a device, where reading would never end.
    const bool file =
        std::filesystem::is_regular_file(path, code) && std::filesystem::file_size(path, code) <= kLargest_bytes;
    std::ifstream in;
    if (file) in.open(path, std::ios::binary);
    if (!file || !in) {
        DecodedPicture none;
        none.fault = path + ": cannot be read";
        return none;
    }
    const std::vector<std::uint8_t> bytes{std::istreambuf_iterator<char>{in}, std::istreambuf_iterator<char>{}};
    return decode_picture(bytes, kLongestSide_px);
}

}  // namespace

void MapPane::fetch_picture(const PageContext& c, const BayMap& map) {
    const std::string path = map.picture.empty() || map.picture.front() == '/' || c.view.map_folder.empty()
                                 ? map.picture
                                 : c.view.map_folder + "/" + map.picture;
    if (path != picture_path_) {
        picture_path_ = path;
        picture_.reset();
        reading_.forget();
        arrival_.reset();
        if (!path.empty()) reading_.start([path] { return read_picture(path); });
    }
    if (auto read = reading_.take()) {
        if (!read->fault.empty()) {
            c.send(ask::Tell{read->fault, c.say(Word::map_picture_hint)});
            return;
        }
        arriving_ = std::move(read->pixels);
        rows_there_ = 0;
        arrival_ = std::make_unique<sf::Texture>();
        if (!arrival_->create(arriving_.width_px, arriving_.height_px)) arrival_.reset();
    }
    if (!arrival_) return;
    // A strip a frame: a whole photo would hold up the keys.
    const auto rows = std::min(kRowsAtOnce, arriving_.height_px - rows_there_);
    arrival_->update(arriving_.rgba.data() + std::size_t{4} * arriving_.width_px * rows_there_, arriving_.width_px,
                     rows, 0, rows_there_);
    rows_there_ += rows;
    if (rows_there_ < arriving_.height_px) return;
    arrival_->setSmooth(true);
    picture_ = std::move(arrival_);
    arriving_ = {};
}

/// Injectors, or how the cylinders work, where they are on this engine.
void MapPane::mark_cylinders(MapScene& scene, const PageContext& c, const BayMap& map, bool balance) const {
    scene.chosen.clear();
    for (const auto& i : c.view.injectors) {
        const auto at = cylinder_place(schematic_, map, !balance, i.cylinder);
        if (!at) continue;
        SpotMark mark;
        mark.spot = std::to_string(i.cylinder);
        mark.name = c.say(Word::part_cylinder, i.cylinder);
        mark.at_mm = *at;
        if (!balance && i.judged) {
            mark.finding = finding(*i.judged);
            mark.verdict = c.say(word_of(*i.judged));
        }
        if (balance && c.view.balance.named)
            for (const auto& k : c.view.balance.cylinders)
                if (k.name == mark.spot) {
                    mark.finding = finding(k.verdict);
                    mark.verdict = c.say(word_of(k.verdict));
                }
        if (c.view.take.running && c.view.take.kind == TakeKind::injector && c.view.take.place == mark.spot)
            scene.next = mark.spot;
        scene.spots.push_back(std::move(mark));
    }
}

MapScene MapPane::scene_of(const PageContext& c, const Flow& flow, Stage stage, const BayMap& map) const {
    MapScene scene;
    scene.schematic = &schematic_;
    scene.part_name = [say = c.say](const Part& part) { return name_of(part, say); };
    scene.picture = picture_.get();
    scene.picture_width_mm = map.picture_width_mm;
    scene.labels = stage == Stage::describe || stage == Stage::map ? MapLabels::names : MapLabels::evidence;
    scene.chosen = flow.selected_spot();
    scene.matters = c.view.settle.matters_rpm;
    if (prompts_spray(c.view)) {
        scene.next_word = c.say(c.view.spray.sham               ? Word::map_aim_here
                                : c.view.spray.spots.size() > 1 ? Word::map_mist_here
                                                                : Word::map_spray_here);
    }
    if (stage == Stage::injectors) {
        mark_cylinders(scene, c, map, flow.balance_shown());
        return scene;
    }
    for (const auto& s : map.spots) {
        SpotMark mark;
        mark.spot = s.spot;
        mark.name = c.say.known(s.name);
        mark.at_mm = {s.x_mm, s.y_mm};
        for (const auto& v : c.view.spots) {
            if (v.place.spot != s.spot) continue;
            mark.bursts = v.bursts;
            mark.along = v.prompted && !scene.next.empty();
            if (v.prompted && !mark.along) scene.next = s.spot;
            if (v.prompted && c.view.spray.spots.size() > 1) mark.name.clear();  // the label is all of theirs
            if (stage == Stage::listen_first) {
                if (v.hiss_db) {
                    mark.verdict = c.say(Word::listen_louder, std::round(*v.hiss_db) + 0.0);
                    mark.finding = finding(v.hiss_verdict.value_or(HissVerdict::undecided));
                }
            } else if (v.verdict) {
                mark.finding = finding(*v.verdict);
                mark.verdict = c.say(word_of(*v.verdict));
                mark.value = v.change_rpm;
                mark.low = v.low_rpm;
                mark.high = v.high_rpm;
            }
            if (v.truth_leak) mark.name += c.say(Word::map_truth);
        }
        scene.spots.push_back(std::move(mark));
    }
    return scene;
}

void MapPane::draw(Canvas& canvas, const PageContext& c, Flow& flow, Stage stage, const Rect& place) {
    const BayMap& map = flow.map_shown(c, stage);
    if (!drawn_ || !same_engine(drawn_engine_, c.view.engine) || (!dragging_spot_ && drawn_spots_ != map.spots)) {
        schematic_ = schematic_for(c.view.engine, map);
        drawn_engine_ = c.view.engine;
        drawn_spots_ = map.spots;
        drawn_ = true;
    }
    fetch_picture(c, map);
    const auto scene = scene_of(c, flow, stage, map);
    const double shape = picture_ ? static_cast<double>(picture_->getSize().y) / picture_->getSize().x : 0.75;
    const Box area = box_of(place);
    const Box bounds = bounds_of(scene, shape);
    if (!dragging_spot_ && (bounds != fitted_bounds_ || area != fitted_area_)) {
        if (!camera_.whole() && bounds == fitted_bounds_)
            camera_.set_area(area);
        else
            camera_.fit(bounds, area, canvas.px(kMargin));
        fitted_bounds_ = bounds;
        fitted_area_ = area;
    }
    layout_ = lay_out(scene, camera_, measure_with(canvas), static_cast<double>(c.scale));
    canvas.box(area, palette::kPaper);
    draw_map(canvas, scene, layout_, camera_);
}

bool MapPane::take(const sf::Event& event, const PageContext& c, Flow& flow, Stage stage, const Rect& place) {
    using Clock = std::chrono::steady_clock;
    const bool editing = flow.map_editable(c, stage);
    switch (event.type) {
        case sf::Event::MouseWheelScrolled: {
            const Point at{static_cast<double>(event.mouseWheelScroll.x),
                           static_cast<double>(event.mouseWheelScroll.y)};
            if (!box_of(place).holds(at)) return false;
            camera_.zoom(event.mouseWheelScroll.delta > 0.0F ? kWheelStep : 1.0 / kWheelStep, at);
            return true;
        }
        case sf::Event::MouseButtonPressed: {
            mouse_ = {static_cast<double>(event.mouseButton.x), static_cast<double>(event.mouseButton.y)};
            if (!box_of(place).holds(mouse_)) return false;
            moved_ = false;
            // Cylinders are looked at, not chosen.
            const auto hit =
                stage == Stage::injectors ? std::nullopt : spot_at(layout_, mouse_, static_cast<double>(c.scale));
            const auto& spots = flow.map_shown(c, stage).spots;
            if (event.mouseButton.button != sf::Mouse::Left || !hit || *hit >= spots.size()) {
                const bool twice = pressed_at_ && Clock::now() - *pressed_at_ < kDoubleClick;
                pressed_at_ = Clock::now();
                if (editing && event.mouseButton.button == sf::Mouse::Left && twice) {
                    const Point mm = camera_.to_mm(mouse_);
                    flow.place_spot(c, mm.x, mm.y);
                    return true;
                }
                panning_ = true;
                return true;
            }
            flow.select_spot(spots[*hit].spot);
            if (stage == Stage::spray && event.mouseButton.button == sf::Mouse::Left)
                flow.spot_pressed(c, spots[*hit].spot);
            if (editing && event.mouseButton.button == sf::Mouse::Left) {
                flow.editor().begin_drag(spots[*hit].spot);
                dragging_spot_ = true;
            }
            return true;
        }
        case sf::Event::MouseMoved: {
            const Point now{static_cast<double>(event.mouseMove.x), static_cast<double>(event.mouseMove.y)};
            if (dragging_spot_) {
                constexpr double kSteady = 4.0;  // a finger's tremble is no drag
                if (moved_ || distance(now, mouse_) > kSteady * static_cast<double>(c.scale)) {
                    moved_ = true;
                    const Point mm = camera_.to_mm(now);
                    flow.editor().drag_to(mm.x, mm.y);
                }
                return true;
            }
            if (panning_) {
                camera_.pan(now - mouse_);
                mouse_ = now;
                return true;
            }
            return false;
        }
        case sf::Event::MouseButtonReleased: {
            const bool ours = dragging_spot_ || panning_;
            if (dragging_spot_) {
                flow.editor().end_drag();
                flow.send_map(c);
            }
            dragging_spot_ = panning_ = false;
            return ours;
        }
        default:
            return false;
    }
}

}  // namespace idlehark::gui
