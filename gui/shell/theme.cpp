#include "gui/shell/theme.hpp"

#include "gui/look/fonts.hpp"
#include "gui/look/palette.hpp"
#include "gui/look/sizes.hpp"

#include <imgui.h>

namespace idlehark::gui {

namespace {

// Forms are read with the head under the bonnet's edge: larger than the map's small print.
constexpr double kFormText = 18.0;
constexpr double kFormTitle = 22.0;

ImVec4 colour(Rgb c, float alpha = 1.0F) {
    constexpr float kFull = 255.0F;
    return {static_cast<float>(c.r) / kFull, static_cast<float>(c.g) / kFull, static_cast<float>(c.b) / kFull, alpha};
}

}  // namespace

Type dress(float scale) {
    auto& io = ImGui::GetIO();
    io.Fonts->Clear();
    // Latin with its German letters, dashes and quotes, minus, arrows: what words.def uses.
    static constexpr ImWchar kLetters[] = {0x20, 0x17f, 0x2010, 0x2027, 0x2190, 0x2193, 0x2212, 0x2212, 0};
    const auto load = [&](const std::string& file, double at_100) {
        ImFontConfig config;
        config.OversampleH = 1;
        config.OversampleV = 1;
        config.PixelSnapH = true;
        // ImGui measures from ascender to descender; our sizes are the em of the text: 1.164 for DejaVu.
        constexpr float kLineToEm = 1.164F;
        return io.Fonts->AddFontFromFileTTF(file.c_str(), static_cast<float>(at_100) * scale * kLineToEm, &config,
                                            kLetters);
    };
    Type type;
    type.text = load(Fonts::regular_file(), kFormText);
    type.strong = load(Fonts::bold_file(), kFormText);
    type.title = load(Fonts::bold_file(), kFormTitle);
    type.big = load(Fonts::bold_file(), Sizes::kTitle);

    auto& style = ImGui::GetStyle();
    style = ImGuiStyle{};
    style.WindowPadding = {16.0F, 14.0F};
    style.FramePadding = {12.0F, 10.0F};
    style.ItemSpacing = {10.0F, 9.0F};
    style.ItemInnerSpacing = {8.0F, 6.0F};
    style.CellPadding = {6.0F, 5.0F};
    style.ScrollbarSize = 22.0F;
    style.GrabMinSize = 22.0F;
    style.WindowBorderSize = 0.0F;
    style.FrameBorderSize = 1.5F;
    style.PopupBorderSize = 2.0F;
    style.WindowRounding = 0.0F;
    style.FrameRounding = 2.0F;
    style.ScrollbarRounding = 2.0F;
    style.GrabRounding = 2.0F;
    style.PopupRounding = 2.0F;
    style.ScaleAllSizes(scale);
    style.FrameBorderSize = 1.5F * scale;
    style.PopupBorderSize = 2.0F * scale;

    namespace p = palette;
    auto* c = style.Colors;
    c[ImGuiCol_Text] = colour(p::kInk);
    c[ImGuiCol_TextDisabled] = colour(p::kFaintInk);
    c[ImGuiCol_WindowBg] = colour(p::kPanel);
    c[ImGuiCol_ChildBg] = colour(p::kPanel, 0.0F);
    c[ImGuiCol_PopupBg] = colour(p::kPanel);
    c[ImGuiCol_Border] = colour(p::kFaintInk);
    c[ImGuiCol_FrameBg] = colour(p::kPaper);
    c[ImGuiCol_FrameBgHovered] = colour(p::kShade);
    c[ImGuiCol_FrameBgActive] = colour(p::kShade);
    c[ImGuiCol_TitleBg] = c[ImGuiCol_TitleBgActive] = colour(p::kShade);
    c[ImGuiCol_ScrollbarBg] = colour(p::kPaper);
    c[ImGuiCol_ScrollbarGrab] = colour(p::kRule);
    c[ImGuiCol_ScrollbarGrabHovered] = c[ImGuiCol_ScrollbarGrabActive] = colour(p::kFaintInk);
    c[ImGuiCol_CheckMark] = colour(p::kAction);
    c[ImGuiCol_SliderGrab] = c[ImGuiCol_SliderGrabActive] = colour(p::kAction);
    c[ImGuiCol_Button] = colour(p::kShade);
    c[ImGuiCol_ButtonHovered] = colour(p::kRule);
    c[ImGuiCol_ButtonActive] = colour(p::kRule);
    c[ImGuiCol_Header] = colour(p::kShade);
    c[ImGuiCol_HeaderHovered] = c[ImGuiCol_HeaderActive] = colour(p::kRule);
    c[ImGuiCol_Separator] = colour(p::kRule);
    c[ImGuiCol_TableHeaderBg] = colour(p::kShade);
    c[ImGuiCol_TableBorderStrong] = c[ImGuiCol_TableBorderLight] = colour(p::kRule);
    c[ImGuiCol_TableRowBg] = colour(p::kPanel);
    c[ImGuiCol_TableRowBgAlt] = colour(p::kPaper);
    c[ImGuiCol_TextSelectedBg] = colour(p::kAction, 0.25F);
    c[ImGuiCol_NavHighlight] = colour(p::kAction);
    c[ImGuiCol_PlotHistogram] = colour(p::kAction);
    c[ImGuiCol_ModalWindowDimBg] = colour(p::kInk, 0.45F);
    return type;
}

}  // namespace idlehark::gui
