#include "gui/shell/event_feed.hpp"

#include <algorithm>
#include <string>

#include <SFML/Window/Clipboard.hpp>
#include <imgui.h>

namespace idlehark::gui {

namespace {

const char* clipboard(void*) {
    static std::string held;  // ImGui wants a pointer that stays good until the next call
    const auto utf8 = sf::Clipboard::getString().toUtf8();
    held.assign(utf8.begin(), utf8.end());
    return held.c_str();
}

void set_clipboard(void*, const char* words) {
    const std::string held{words};
    sf::Clipboard::setString(sf::String::fromUtf8(held.begin(), held.end()));
}

}  // namespace

EventFeed::EventFeed() {
    auto& io = ImGui::GetIO();
    io.BackendPlatformName = "idlehark_sfml";
    using K = sf::Keyboard;
    const auto map = [&](ImGuiKey_ ours, K::Key theirs) { io.KeyMap[ours] = theirs; };
    map(ImGuiKey_Tab, K::Tab);
    map(ImGuiKey_LeftArrow, K::Left);
    map(ImGuiKey_RightArrow, K::Right);
    map(ImGuiKey_UpArrow, K::Up);
    map(ImGuiKey_DownArrow, K::Down);
    map(ImGuiKey_PageUp, K::PageUp);
    map(ImGuiKey_PageDown, K::PageDown);
    map(ImGuiKey_Home, K::Home);
    map(ImGuiKey_End, K::End);
    map(ImGuiKey_Insert, K::Insert);
    map(ImGuiKey_Delete, K::Delete);
    map(ImGuiKey_Backspace, K::Backspace);
    map(ImGuiKey_Space, K::Space);
    map(ImGuiKey_Enter, K::Enter);
    map(ImGuiKey_A, K::A);
    map(ImGuiKey_C, K::C);
    map(ImGuiKey_V, K::V);
    map(ImGuiKey_X, K::X);
    map(ImGuiKey_Y, K::Y);
    map(ImGuiKey_Z, K::Z);
    io.GetClipboardTextFn = clipboard;
    io.SetClipboardTextFn = set_clipboard;
}

void EventFeed::take(const sf::Event& event) {
    auto& io = ImGui::GetIO();
    switch (event.type) {
        case sf::Event::LostFocus:
            std::fill(std::begin(io.KeysDown), std::end(io.KeysDown), false);
            io.KeyCtrl = io.KeyShift = io.KeyAlt = false;
            break;
        case sf::Event::MouseMoved:
            io.MousePos = {static_cast<float>(event.mouseMove.x), static_cast<float>(event.mouseMove.y)};
            break;
        case sf::Event::MouseLeft:
            io.MousePos = {-1.0e6F, -1.0e6F};
            break;
        case sf::Event::MouseButtonPressed:
        case sf::Event::MouseButtonReleased:
            if (event.mouseButton.button < 3) {
                io.MousePos = {static_cast<float>(event.mouseButton.x), static_cast<float>(event.mouseButton.y)};
                io.MouseDown[event.mouseButton.button] = event.type == sf::Event::MouseButtonPressed;
            }
            break;
        case sf::Event::MouseWheelScrolled:
            if (event.mouseWheelScroll.wheel == sf::Mouse::VerticalWheel) io.MouseWheel += event.mouseWheelScroll.delta;
            break;
        case sf::Event::KeyPressed:
        case sf::Event::KeyReleased:
            if (event.key.code >= 0 && event.key.code < sf::Keyboard::KeyCount)
                io.KeysDown[event.key.code] = event.type == sf::Event::KeyPressed;
            // Enter presses what is chosen, as the space bar does.
            if (event.key.code == sf::Keyboard::Enter && !io.WantTextInput)
                io.KeysDown[sf::Keyboard::Space] = event.type == sf::Event::KeyPressed;
            io.KeyCtrl = event.key.control;
            io.KeyShift = event.key.shift;
            io.KeyAlt = event.key.alt;
            break;
        case sf::Event::TextEntered:
            if (event.text.unicode >= 0x20 && event.text.unicode != 0x7f) io.AddInputCharacter(event.text.unicode);
            break;
        default:
            break;
    }
}

void EventFeed::begin_frame(Size size, float seconds_since_last) {
    auto& io = ImGui::GetIO();
    io.DisplaySize = {size.w, size.h};
    io.DeltaTime = std::clamp(seconds_since_last, 1.0e-4F, 0.2F);
}

}  // namespace idlehark::gui
