#include "engine/fhir/narrative.h"

#include <string>

#include <gtest/gtest.h>

namespace engine::fhir {
namespace {

std::string in_div(std::string_view inside) {
  return R"(<div xmlns="http://www.w3.org/1999/xhtml">)" + std::string(inside) + "</div>";
}

// "" when clean, otherwise the rule of the first fault.
std::string verdict(const std::string& text) {
  static constexpr const char* kNames[] = {"form", "content", "empty"};
  const NarrativeReport report = check_narrative(text);
  return report.faults.empty() ? "" : kNames[static_cast<int>(report.faults.front().rule)];
}

struct Case {
  const char* inside;
  const char* verdict;
};

// Rules: FHIR R4 narrative page, txt-1 and txt-2.
constexpr Case kInsideADiv[] = {
    {"text", ""},
    {"<p><b>bold</b> &amp; <i>so on</i><br/></p>", ""},
    {"<table class='x' border=\"1\"><tr><td colspan=\"2\">1</td></tr></table>", ""},
    {"<a href=\"http://x/\">x</a>", ""},
    {"<img src=\"data:image/png;base64,AA==\" alt=\"x\"/>", ""},
    {"&#160;&#xA0;", ""},
    {"<!-- a comment --> x", ""},
    {"", "empty"},
    {"  <p> </p>\n", "empty"},
    {"<br/>", "empty"},
    {"<script>x</script>", "content"},
    {"<style>x</style>", "content"},
    {"<form><input/></form>", "content"},
    {"<iframe src='x'/>y", "content"},
    {"<object data='x'/>y", "content"},
    {"<link href='x'/>y", "content"},
    {"<ins>x</ins>", "content"},
    {"<p onclick=\"x()\">y</p>", "content"},
    {"<p ONLOAD=\"x()\">y</p>", "content"},
    {"<p src=\"x\">y</p>", "content"},
    {"<a href=\"javascript:x()\">y</a>", "content"},
    {"<a href=\" JavaScript:x()\">y</a>", "content"},
    {"<a href=\"data:text/html,x\">y</a>", "content"},
    {"<blink>y</blink>", "content"},
    {"a < b", "form"},
    {"a & b", "form"},
    {"&nbsp;", "form"},
    {"&#;", "form"},
    {"<p>x", "form"},
    {"<p>x</b>", "form"},
    {"</div><div>x", "form"},
    {"<p class=x>y</p>", "form"},
    {"<p class='a' class='b'>y</p>", "form"},
    {"<p class='a'id='b'>y</p>", "form"},
    {"<!-- a -- b -->x", "form"},
    {"<?php x ?>", "form"},
    {"<!DOCTYPE x>", "form"},
    {"<p", "form"},
};

TEST(Narrative, KeepsToFormattingOnly) {
  for (const Case& each : kInsideADiv) {
    EXPECT_EQ(verdict(in_div(each.inside)), each.verdict) << each.inside;
  }
}

TEST(Narrative, IsOneDivInTheXhtmlNamespace) {
  EXPECT_EQ(verdict("<div>x</div>"), "form");
  EXPECT_EQ(verdict("<div xmlns=\"urn:x\">x</div>"), "form");
  EXPECT_EQ(verdict("<p xmlns=\"http://www.w3.org/1999/xhtml\">x</p>"), "form");
  EXPECT_EQ(verdict("text"), "form");
  EXPECT_EQ(verdict(""), "form");
  EXPECT_EQ(verdict("<?xml version=\"1.0\"?>" + in_div("x")), "form");
  EXPECT_EQ(verdict(in_div("x") + "y"), "form");
  EXPECT_EQ(verdict(" " + in_div("x") + "\n"), "");
}

TEST(Narrative, ListsWhatItPointsAtInsideTheResource) {
  const std::string text =
      in_div(R"(<img src="#pic"/><a href="#" id="top">x</a><a href="#note">y</a>)");
  const NarrativeReport report = check_narrative(text);
  ASSERT_EQ(report.local_references.size(), 2U);
  EXPECT_EQ(report.local_references[0], "pic");
  EXPECT_EQ(report.local_references[1], "note");
  ASSERT_EQ(report.anchors.size(), 1U);
  EXPECT_EQ(report.anchors[0], "top");
}

TEST(Narrative, DepthIsBounded) {
  const auto nested = [](int levels) {
    std::string open;
    std::string close;
    for (int i = 0; i < levels; ++i) {
      open += "<b>";
      close += "</b>";
    }
    return in_div(open + "x" + close);
  };
  EXPECT_EQ(verdict(nested(255)), "");
  EXPECT_EQ(verdict(nested(256)), "form");
}

}  // namespace
}  // namespace engine::fhir
