#include "gui/shell/window.hpp"

#include "gui/flow/flow.hpp"
#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/look/canvas.hpp"
#include "gui/look/fetch.hpp"
#include "gui/look/fonts.hpp"
#include "gui/look/palette.hpp"
#include "gui/plots/orders_pane.hpp"
#include "gui/shell/chrome.hpp"
#include "gui/shell/event_feed.hpp"
#include "gui/shell/held_keys.hpp"
#include "gui/shell/layout.hpp"
#include "gui/shell/map_pane.hpp"
#include "gui/shell/panes.hpp"
#include "gui/shell/theme.hpp"
#include "gui/shell/window_memory.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <thread>
#include <utility>
#include <vector>

#include <SFML/Graphics/Image.hpp>
#include <SFML/Graphics/RenderWindow.hpp>
#include <SFML/Graphics/Texture.hpp>
#include <SFML/OpenGL.hpp>
#include <X11/Xlib.h>
#include <backends/imgui_impl_opengl2.h>
#include <fmt/format.h>
#include <imgui.h>

// X11's macros stand in the way of ordinary names.
#undef None
#undef Status

namespace idlehark::gui {

namespace {

using Clock = std::chrono::steady_clock;

constexpr auto kShortestFrame = std::chrono::milliseconds{16};  // after a key or the mouse
constexpr auto kListeningFrame = std::chrono::milliseconds{31};
constexpr auto kLook = std::chrono::milliseconds{12};      // how often to look for events while nothing moves
constexpr auto kLookAway = std::chrono::milliseconds{40};  // the same without the keyboard's attention
constexpr int kFramesAfterEvent = 3;                       // ImGui lays some things out a frame late
constexpr auto kCursorBlink = std::chrono::milliseconds{400};
constexpr auto kMessageStays = std::chrono::seconds{4};
constexpr float kScaleStep = 0.1F;

/// SFML ends the program when there is no display; so it is asked for beforehand. The connection is kept: a server
/// whose last client leaves starts afresh, and would turn the next one away.
struct DisplayCloser {
    void operator()(Display* display) const { XCloseDisplay(display); }
};
using OpenDisplay = std::unique_ptr<Display, DisplayCloser>;

/// ImGui's context and OpenGL half, while the window lives.
class ImGuiSession {
   public:
    ImGuiSession() {
        IMGUI_CHECKVERSION();
        ImGui::CreateContext();
        auto& io = ImGui::GetIO();
        io.IniFilename = nullptr;
        io.LogFilename = nullptr;
        io.ConfigFlags |= ImGuiConfigFlags_NavEnableKeyboard;
        ImGui_ImplOpenGL2_Init();
    }
    ~ImGuiSession() {
        if (letters_ != 0) glDeleteTextures(1, &letters_);
        ImGui::GetIO().Fonts->SetTexID(nullptr);
        ImGui_ImplOpenGL2_Shutdown();
        ImGui::DestroyContext();
    }
    ImGuiSession(const ImGuiSession&) = delete;
    ImGuiSession& operator=(const ImGuiSession&) = delete;

    /// The letters into the graphics memory, as coverage alone: a quarter of the bytes, and of the time, of ImGui's
    /// way.
    void take_letters() {
        if (letters_ != 0) glDeleteTextures(1, &letters_);
        auto& fonts = *ImGui::GetIO().Fonts;
        unsigned char* pixels = nullptr;
        int width = 0, height = 0;
        fonts.GetTexDataAsAlpha8(&pixels, &width, &height);
        glGenTextures(1, &letters_);
        glBindTexture(GL_TEXTURE_2D, letters_);
        glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR);
        glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_LINEAR);
        glPixelStorei(GL_UNPACK_ALIGNMENT, 1);
        glTexImage2D(GL_TEXTURE_2D, 0, GL_ALPHA, width, height, 0, GL_ALPHA, GL_UNSIGNED_BYTE, pixels);
        // ImGui takes a number for a pointer, by its own convention.
        fonts.SetTexID(
            reinterpret_cast<ImTextureID>(static_cast<std::intptr_t>(letters_)));  // NOLINT(performance-no-int-to-ptr)
    }

   private:
    GLuint letters_ = 0;
};

double cpu_ms(clockid_t clock) {
    timespec t{};
    clock_gettime(clock, &t);
    return 1e3 * static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_nsec);
}

/// How long something took, wall and CPU.
class Timed {
   public:
    struct Start {
        Clock::time_point wall = Clock::now();
        double cpu_ms = gui::cpu_ms(CLOCK_THREAD_CPUTIME_ID);
    };
    void add(const Start& begun) {
        wall_ms_.push_back(std::chrono::duration<double, std::milli>(Clock::now() - begun.wall).count());
        cpu_ms_.push_back(cpu_ms(CLOCK_THREAD_CPUTIME_ID) - begun.cpu_ms);
    }
    void clear() {
        wall_ms_.clear();
        cpu_ms_.clear();
    }
    [[nodiscard]] std::size_t size() const noexcept { return wall_ms_.size(); }
    [[nodiscard]] Spread wall() const { return spread(wall_ms_); }
    [[nodiscard]] Spread cpu() const { return spread(cpu_ms_); }

   private:
    static Spread spread(std::vector<double> all) {
        if (all.empty()) return {};
        std::sort(all.begin(), all.end());
        const auto at = [&](std::size_t percent) { return all[std::min(all.size() * percent / 100, all.size() - 1)]; };
        return {at(50), at(95), at(99), all.back()};
    }
    std::vector<double> wall_ms_, cpu_ms_;
};

class Shell {
   public:
    Shell(const Wires& wires, const WindowOptions& options, const WindowMemory& memory, sf::RenderWindow& window,
          const Fonts& fonts, Clock::time_point opened)
        : wires_(wires),
          options_(options),
          memory_(memory),
          window_(window),
          fonts_(fonts),
          plots_(window, fonts),
          opened_(opened) {
        looking_at_ = options.stage;
        say_.language = memory_.language;
        make_letters();
    }

    void run();
    [[nodiscard]] WindowMemory memory() const { return memory_; }

   private:
    [[nodiscard]] bool next(sf::Event& event);
    void take(const sf::Event& event);
    bool key(const sf::Event::KeyEvent& key);
    void pressed(float x, float y);
    void draw();
    void rescale(float asked);
    void make_letters();
    void go(Stage stage);
    void stop() { wires_.send(ask::Stop{}); }
    void turn_full_screen();
    [[nodiscard]] std::optional<sf::Image> picture() const;
    void keep_picture();
    /// Something is fetched that shall be shown: look again soon.
    [[nodiscard]] bool waiting() const noexcept { return map_.waiting() || flow_.waiting(); }
    void tell(std::string words) {
        message_ = std::move(words);
        message_until_ = Clock::now() + kMessageStays;
        frames_due_ = kFramesAfterEvent;
    }
    [[nodiscard]] PageContext context() {
        return {*view_, say_, type_, scale_, wires_.send, [this](Stage s) { go(s); }, &plots_};
    }
    [[nodiscard]] Size size() const {
        const auto s = window_.getSize();
        return {static_cast<float>(s.x), static_cast<float>(s.y)};
    }

    const Wires& wires_;
    const WindowOptions& options_;
    WindowMemory memory_;
    float scale_ = 0.0F;  ///< memory_.scale, as far as there is room
    sf::RenderWindow& window_;
    const Fonts& fonts_;
    ImGuiSession imgui_;
    EventFeed feed_;
    Words say_;
    Type type_;
    Flow flow_;
    PlotPlaces plots_;
    MapPane map_;
    std::shared_ptr<const ViewState> view_;
    Layout layout_;
    Stage looking_at_ = Stage::describe;
    std::uint64_t stage_edition_ = 0;
    Front front_ = Front::page;
    OrdersPane orders_;
    bool orders_shown_ = false;
    bool focused_ = true, full_screen_ = false;
    HeldKeys held_;
    bool nameless_ = false;  ///< the key pressed last, with Ctrl, has no name
    float mouse_x_ = -1.0F, mouse_y_ = -1.0F;
    std::optional<sf::Event> waiting_;
    bool pressed_since_frame_ = false;
    int frames_due_ = kFramesAfterEvent;
    Clock::time_point drawn_at_{};
    std::string message_, window_title_;
    std::vector<std::string> written_;  ///< files of the report that were told of
    Clock::time_point message_until_{};
    Clock::time_point opened_, first_at_{};
    double worked_from_ms_ = 0.0;
    Fetch<std::string> keeping_;  ///< the picture of F12, onto the disk
    Timed frames_, turns_;
};

/// A file's name first: where there is little room its folder is cut.
std::string in_short(const std::filesystem::path& file) {
    std::error_code code;
    const auto whole = std::filesystem::absolute(file, code);
    return fmt::format("{} ({})", file.filename().string(), whole.parent_path().lexically_normal().string());
}

void Shell::rescale(float asked) {
    memory_.scale = std::clamp(std::round(asked * 20.0F) / 20.0F, 1.0F, 3.0F);
    make_letters();
    if (scale_ < memory_.scale) tell(say_(Word::no_larger));
}

/// As large as asked for and as the window has room for.
void Shell::make_letters() {
    const float scale = scale_with_room(memory_.scale, size());
    if (scale == scale_) return;
    scale_ = scale;
    type_ = dress(scale_);
    imgui_.take_letters();
}

void Shell::go(Stage stage) {
    looking_at_ = stage;
    orders_shown_ = false;
    front_ = stage == Stage::map || stage == Stage::spray ? Front::map : Front::page;
    frames_due_ = kFramesAfterEvent;
    wires_.send(ask::SetStage{stage});
}

void Shell::turn_full_screen() {
    full_screen_ = !full_screen_;
    if (full_screen_)
        window_.create(sf::VideoMode::getDesktopMode(), say_(Word::app_title), sf::Style::Fullscreen);
    else
        window_.create({memory_.w, memory_.h}, say_(Word::app_title));
    window_.setKeyRepeatEnabled(true);
    scale_ = 0.0F;  // a new window has none of the old one's textures
    make_letters();
}

std::optional<sf::Image> Shell::picture() const {
    sf::Texture texture;
    const auto s = window_.getSize();
    if (!texture.create(s.x, s.y)) return {};
    texture.update(window_);
    return texture.copyToImage();
}

void Shell::keep_picture() {
    const auto image = picture();
    if (!image) return;
    keeping_.start([image = *image, folder = options_.picture_folder] {
        for (int n = 1; n < 1000; ++n) {
            auto path = fmt::format("{}/idlehark-{:03}.png", folder, n);
            std::error_code code;
            if (!std::filesystem::exists(path, code)) return image.saveToFile(path) ? path : std::string{};
        }
        return std::string{};
    });
}

/// Keys that belong to the window, not to the form; true if it was one. Held down they act once, but for the size.
bool Shell::key(const sf::Event::KeyEvent& k) {
    using K = sf::Keyboard;
    const bool again = held_.press(k.code);
    const auto once = [again](const auto& act) {
        if (!again) act();
        return true;
    };
    const bool typing = ImGui::GetIO().WantTextInput;
    if (k.code == K::Escape) {
        return once([&] {
            if (!close_popup() || test_runs(*view_)) stop();
        });
    }
    if (k.code >= K::F1 && k.code <= K::F10) return once([&] { go(static_cast<Stage>(k.code - K::F1)); });
    if (k.code == K::F11) return once([&] { turn_full_screen(); });
    if (k.code == K::F12) return once([&] { keep_picture(); });
    if (k.control) {
        switch (k.code) {
            case K::Add:
            case K::Equal:
                rescale(memory_.scale + kScaleStep);
                return true;
            case K::Subtract:
            case K::Hyphen:
                rescale(memory_.scale - kScaleStep);
                return true;
            case K::Num0:
            case K::Numpad0:
                rescale(1.0F);
                return true;
            case K::L:
                return once([&] {
                    say_.language = say_.language == Language::english ? Language::german : Language::english;
                    memory_.language = say_.language;
                });
            case K::Q:
                window_.close();
                return true;
            case K::S:
                return once([&] { wires_.send(ask::WriteReport{}); });
            case K::Z:
            case K::Y:
                if (looking_at_ != Stage::map || typing) return false;
                return once([&] { flow_.undo(context(), k.code == K::Y); });
            case K::O:
                return once([&] { orders_shown_ = !orders_shown_; });
            case K::M:
                return once([&] { front_ = front_ == Front::page ? Front::map : Front::page; });
            default:
                return false;
        }
    }
    if (looking_at_ != Stage::spray || typing) return false;
    const auto pedal = [&](Flow::Pedal which) { return once([&] { flow_.pedal(context(), which); }); };
    switch (k.code) {
        case K::Space:     // also a foot pedal that sends a space
        case K::PageDown:  // a presenter's forward key
            return pedal(Flow::Pedal::spray);
        case K::R:
        case K::PageUp:
            return pedal(Flow::Pedal::repeat);
        case K::K:
            return pedal(Flow::Pedal::skip);
        case K::W:
            return pedal(Flow::Pedal::wrong);
        case K::U:
            return pedal(Flow::Pedal::undo);
        case K::P:
            return pedal(Flow::Pedal::pause);
        default:
            return false;
    }
}

void Shell::pressed(float x, float y) {
    if (layout_.stop.holds(x, y)) {
        stop();
        return;
    }
    if (ImGui::GetIO().WantCaptureMouse) return;
    for (std::size_t i = 0; i < kStages; ++i)
        if (layout_.stations[i].holds(x, y)) go(static_cast<Stage>(i));
    if (layout_.trace.holds(x, y)) orders_shown_ = !orders_shown_;
    if (layout_.flip.holds(x, y)) front_ = front_ == Front::page ? Front::map : Front::page;
}

void Shell::take(const sf::Event& event) {
    switch (event.type) {
        case sf::Event::Closed:
            window_.close();
            return;
        case sf::Event::Resized:
            window_.setView(
                sf::View{{0.0F, 0.0F, static_cast<float>(event.size.width), static_cast<float>(event.size.height)}});
            if (!full_screen_) {
                memory_.w = event.size.width;
                memory_.h = event.size.height;
            }
            make_letters();
            break;
        case sf::Event::GainedFocus:
            focused_ = true;
            held_.keep([](sf::Keyboard::Key k) { return sf::Keyboard::isKeyPressed(k); });
            break;
        case sf::Event::LostFocus:
            focused_ = false;
            break;
        case sf::Event::MouseMoved:
            mouse_x_ = static_cast<float>(event.mouseMove.x);
            mouse_y_ = static_cast<float>(event.mouseMove.y);
            break;
        case sf::Event::KeyPressed:
            nameless_ = event.key.control && event.key.code == sf::Keyboard::Unknown;
            if (key(event.key)) return;
            break;
        case sf::Event::KeyReleased:
            held_.release(event.key.code);
            break;
        case sf::Event::TextEntered:  // plus has a key of its own on many keyboards, which SFML has no name for
            if (nameless_ && event.text.unicode == '+') {
                rescale(memory_.scale + kScaleStep);
                return;
            }
            break;
        case sf::Event::MouseButtonPressed:
            if (event.mouseButton.button == sf::Mouse::Left)
                pressed(static_cast<float>(event.mouseButton.x), static_cast<float>(event.mouseButton.y));
            break;
        default:
            break;
    }
    feed_.take(event);
    if (!orders_shown_ && (!ImGui::GetIO().WantCaptureMouse || event.type == sf::Event::MouseButtonReleased))
        map_.take(event, context(), flow_, looking_at_, layout_.map);
}

void Shell::draw() {
    const Timed::Start begun;
    const auto now = begun.wall;
    pressed_since_frame_ = false;
    layout_ = lay_out(size(), scale_, looking_at_, front_);
    feed_.begin_frame(size(), std::chrono::duration<float>(now - drawn_at_).count());
    drawn_at_ = now;

    // The title carries the next step too: for the task bar, and for those who have it read to them.
    const auto sentence = next_step(*view_, looking_at_, say_);
    if (auto words = fmt::format("{}: {}", say_(Word::app_title), sentence); words != window_title_) {
        window_title_ = std::move(words);
        window_.setTitle(sf::String::fromUtf8(window_title_.begin(), window_title_.end()));
    }
    const auto& c = palette::kPaper;
    window_.clear({c.r, c.g, c.b});
    {
        Canvas canvas{window_, fonts_, static_cast<double>(scale_)};
        draw_chrome(canvas, {*view_, layout_, say_, looking_at_, sentence, mouse_x_, mouse_y_});
        if (!layout_.trace.empty()) draw_trace(canvas, *view_, layout_.trace, say_);
        if (!message_.empty()) draw_message(canvas, layout_, message_);
        if (orders_shown_)
            orders_.draw(canvas, *view_, box_of(layout_.map.empty() ? layout_.page : layout_.map),
                         {say_(Word::orders_title), say_(Word::orders_how), say_(Word::orders_empty)});
        else if (!layout_.map.empty())
            map_.draw(canvas, context(), flow_, looking_at_, layout_.map);
        canvas.flush();
    }
    ImGui::NewFrame();
    plots_.begin_frame(scale_);
    const auto page = context();
    if (!orders_shown_ || !layout_.map.empty()) flow_.draw(page, looking_at_, layout_.page);
    flow_.draw_above(page, size());
    ImGui::Render();
    window_.resetGLStates();  // SFML leaves its texture matrix behind
    ImGui_ImplOpenGL2_RenderDrawData(ImGui::GetDrawData());
    window_.resetGLStates();
    window_.display();
    if (options_.report_frames) frames_.add(begun);
}

/// The next event; but what was pressed is let go in a later frame, or ImGui would never see a quick press.
bool Shell::next(sf::Event& event) {
    if (waiting_) {
        if (pressed_since_frame_) return false;
        event = *std::exchange(waiting_, std::nullopt);
        return true;
    }
    if (!window_.pollEvent(event)) return false;
    const bool press = event.type == sf::Event::KeyPressed || event.type == sf::Event::MouseButtonPressed;
    const bool release = event.type == sf::Event::KeyReleased || event.type == sf::Event::MouseButtonReleased;
    if (pressed_since_frame_ && (press || release)) {
        waiting_ = event;
        return false;
    }
    if (press) pressed_since_frame_ = true;
    return true;
}

void Shell::run() {
    std::uint64_t shown = ~std::uint64_t{0};
    view_ = wires_.view();
    bool first = true;
    while (window_.isOpen()) {
        const Timed::Start turn;
        sf::Event event;
        while (next(event)) {
            take(event);
            frames_due_ = kFramesAfterEvent;
        }
        if (options_.close_after_s && !first && frames_due_ == 0 && !waiting() &&
            std::chrono::duration<double>(Clock::now() - first_at_).count() >= *options_.close_after_s) {
            if (const auto last = picture(); last && !options_.last_picture.empty())
                last->saveToFile(options_.last_picture);
            window_.close();
        }
        if (!window_.isOpen()) break;
        view_ = wires_.view();
        if (view_->stage_edition != stage_edition_) {  // the work moved on by itself
            stage_edition_ = view_->stage_edition;
            looking_at_ = view_->stage;
            front_ = looking_at_ == Stage::map || looking_at_ == Stage::spray ? Front::map : Front::page;
        }
        const auto since = Clock::now() - drawn_at_;
        const bool blink = ImGui::GetIO().WantTextInput && since >= kCursorBlink;
        const bool fresh = view_->revision != shown;
        if (const auto kept = keeping_.take(); kept && !kept->empty()) tell(say_(Word::picture_saved, in_short(*kept)));
        if (view_->written != written_) {
            written_ = view_->written;
            if (!written_.empty() && looking_at_ != Stage::report)
                tell(say_(Word::next_report_done, in_short(written_.front())));
        }
        if (!message_.empty() && Clock::now() >= message_until_) tell({});
        if (waiting() && since >= kListeningFrame) frames_due_ = std::max(frames_due_, 1);
        if ((frames_due_ > 0 && since >= kShortestFrame) || (fresh && since >= kListeningFrame) || blink) {
            shown = view_->revision;
            if (frames_due_ > 0) --frames_due_;
            draw();
            if (options_.report_frames) turns_.add(turn);
            if (first) {
                first_at_ = Clock::now();
                worked_from_ms_ = cpu_ms(CLOCK_PROCESS_CPUTIME_ID);
                frames_.clear();  // the first frame is told apart
                turns_.clear();
            }
            first = false;
            continue;
        }
        std::this_thread::sleep_for(frames_due_ > 0 || fresh ? std::chrono::milliseconds{1}
                                    : focused_               ? kLook
                                                             : kLookAway);
    }
    const auto place = window_.getPosition();
    memory_.x = place.x;
    memory_.y = place.y;
    if (options_.report_frames)
        options_.report_frames({.first_ms = std::chrono::duration<double, std::milli>(first_at_ - opened_).count(),
                                .open_s = std::chrono::duration<double>(Clock::now() - first_at_).count(),
                                .worked_s = 1e-3 * (cpu_ms(CLOCK_PROCESS_CPUTIME_ID) - worked_from_ms_),
                                .frames = frames_.size(),
                                .frame_wall = frames_.wall(),
                                .frame_cpu = frames_.cpu(),
                                .turn_wall = turns_.wall(),
                                .turn_cpu = turns_.cpu()});
}

}  // namespace

std::optional<WindowFault> run_window(const Wires& wires, const WindowOptions& options) {
    const auto opened = Clock::now();
    const OpenDisplay display{XOpenDisplay(nullptr)};
    if (!display)
        return WindowFault{"there is no display to open a window on",
                           "Every command works without one: idlehark --help lists them. Over ssh, try ssh -X."};
    std::string message;
    const auto fonts = Fonts::load(message);
    if (!fonts) return WindowFault{message, ""};

    auto memory = memory_from_text(options.memory);
    const auto screen = sf::VideoMode::getDesktopMode();
    WindowMemory now = memory.value_or(WindowMemory{});
    now.w = std::min(options.width.value_or(now.w), std::max(screen.width, 320U));
    now.h = std::min(options.height.value_or(now.h), std::max(screen.height, 240U));
    if (options.scale)
        now.scale = *options.scale;
    else if (now.scale == 0.0F)
        now.scale = scale_for_height(static_cast<float>(screen.height));
    if (options.language) now.language = *options.language;

    sf::RenderWindow window{sf::VideoMode{now.w, now.h}, "Idlehark", sf::Style::Default, sf::ContextSettings{}};
    if (!window.isOpen())
        return WindowFault{
            "the display cannot draw with OpenGL",
            "Install a driver (libgl1-mesa-dri draws without one), or use the commands: idlehark --help."};
    // Where it was, but never partly beyond the screen's edge; else in the middle. Without a window manager SFML 2.5
    // would open it too low: it reckons the height from the screen's width.
    const auto spare = [](unsigned whole, unsigned part) { return static_cast<int>(whole > part ? whole - part : 0); };
    const int right = spare(screen.width, now.w);
    const int low = spare(screen.height, now.h);
    const bool known = memory && memory->x >= 0 && memory->y >= 0;
    window.setPosition(known ? sf::Vector2i{std::min(memory->x, right), std::min(memory->y, low)}
                             : sf::Vector2i{right / 2, low / 2});
    window.setKeyRepeatEnabled(true);

    Shell shell{wires, options, now, window, *fonts, opened};
    shell.run();
    if (options.keep_memory) options.keep_memory(to_text(shell.memory()));
    return {};
}

}  // namespace idlehark::gui
