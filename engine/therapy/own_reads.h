#pragma once
// What the engine itself takes from a session document and asks of the maps, for whoever looks for
// what no rule reads: fields here need no rule, groups here need no caller. A test holds every
// field against the code of this folder.

#include <string_view>

namespace engine::therapy {

// "map#group", beside the first group of every map.
inline constexpr std::string_view kCalledGroups[] = {
    "frame#sessionFrame",
    "frame#entryFrame",
    "frame#session",
};

inline constexpr std::string_view kOwnReads[] = {
    // revisions and people
    "TherapySession.change",
    "TherapySession.withdrawal",
    "TherapySession.attestation",
    "TherapySession.entry.during",
    "TherapySession.entry.recordedBy",
    // predictions, percent of maximum heart rate, NEWS2
    "TherapySession.patient.birthDate",
    "TherapySession.patient.sexForPrediction",
    "TherapySession.patient.height",
    "TherapySession.patient.weight",
    "TherapySession.patient.pregnant",
    "TherapySession.patient.heartRateFlag",
    "TherapySession.patient.baseline",
    "TherapySession.order.news2Scale",
    // plausibility
    "TherapySession.patient.confirmed",
    "TherapySession.order.confirmed",
    // limits in force, adherence, trend
    "TherapySession.order.oxygen",
    "TherapySession.order.limits",
    "TherapySession.order.breathing",
    "TherapySession.earlier",
    "TherapySession.breathingSet",
};

// Shown by pages beside the times; the offsets of the times decide, so nothing is charted of it.
inline constexpr std::string_view kShownOnly[] = {
    "TherapySession.facility.timeZone",
};

}  // namespace engine::therapy
